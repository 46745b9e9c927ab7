"""How does a person at a terminal ask, one module a command?
`cli.main` finds the module, whose click command reads the words, calls the library and prints. Shared: `options`.
So that help is quick, a module imports click and `options` at its top, the rest inside its function. No arithmetic.
"""
