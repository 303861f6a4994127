"""The stand-alone checkers that travel with a bundle: an archive for Python, a page for browsers, a text."""
