"""One module a command of the command line; each offers a click object named `command` and is imported only when it runs."""
