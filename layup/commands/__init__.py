"""One module a command: it reads the words, calls the library and prints; it holds no arithmetic.

A command module is called like its command and holds a click command of the name `command`. It imports click and
`layup.commands.options` at its top and everything else inside the function, so that the help is quick.
"""
