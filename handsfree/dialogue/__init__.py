"""The dialogue: state and input in, events and effects out. Pure, so that a visit can be replayed from its journal.

Driving it (the full text stands in `handsfree.dialogue.engine`): append `VisitStarted`, `engine.start(state)`, then
`engine.decide(state, input)` after every input; append the decision's events to the journal and apply them before
carrying out its effects, of which the last is `Listen`, `Wait` or `Stop`. `Said` events are among the decision's
events: a caller writes none of its own.
"""
