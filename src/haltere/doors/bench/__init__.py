"""The bench: a page in the browser on which the evening's work is seen and decided.

Requests of one's own browser come in, answers of the field book and pictures go out. Routes are
thin: each calls what the command line calls, and none knows how an answer was found. Only
`serve` and what it imports load the web server, so that other verbs start as fast as before.
"""
