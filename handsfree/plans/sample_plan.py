"""A small complete plan for an engineer to begin with: every line may be changed, and `handsfree plan check` says when
one is wrong."""

SAMPLE_PLAN = """\
# A plan says what is asked, in which order, and what answers it. Check it with: handsfree plan check FILE
# Hold it with: handsfree visit FILE --from typed --job JOB.toml

name = "my_pressure_check"
title = "System pressure, cold then hot"
about = "Reads the system pressure cold, then hot, to see whether the expansion vessel does its work."
opening = "Pressure check. The maker's instructions come first."
sources = ["the maker's instructions", "common practice"]

[[chunk]]                                  # items tied to one place, asked in this order
id = "pressures"
title = "pressures"
place = "at the boiler's pressure gauge"
done = "Pressures complete."               # said when every item is answered

[[chunk.item]]
id = "cold"
say = "cold system pressure"               # how it is spoken of: "change cold system pressure"
prompt = "Read the pressure gauge, system cold."      # at most 12 words, no "and"
expect = { quantity = "system_pressure", qualifier = "cold" }
limit = { maker = "maker.limits.cold_pressure", trade = "system_pressure_cold" }   # job's, else trade's
outside = "Fill or drain until the gauge stands right."
why = "Too low draws in air, too high leaves no room to expand."
source = "maker's instructions; common practice"

[[chunk.item]]
id = "heating"
say = "warm-up"
prompt = "Let the boiler heat the system."
expect = { wait_s = 600, what = "warm-up" }           # timed and announced by the program
source = "common practice"

[[chunk.item]]
id = "hot"
say = "hot system pressure"
prompt = "Read the pressure gauge, system hot."
expect = { quantity = "system_pressure", qualifier = "hot" }
limit = { trade = "system_pressure_hot" }
outside = "Check the vessel's charge with the water side at zero."
why = "A vessel low on charge lets the pressure climb."
source = "common practice"

[[chunk.item]]
id = "leaks"
say = "leaks"
prompt = "Look at every joint you can see: any leak?"
expect = { yes_no = "no" }                 # the good answer
outside = "Mend the leak, then read the pressures again."
why = "Lost water is replaced by fresh water, which corrodes."
source = "common practice"

[[question]]                               # asked when two readings do not go together; nothing is changed
id = "hot_above_cold"
items = ["cold", "hot"]
require = "item.hot >= item.cold"
ask = "Hot pressure is below cold. Are both right?"
source = "physics"
"""
