"""The verbs of the command line, one module for those that belong together."""
