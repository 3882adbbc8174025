"""Text logs: any delimiter, any preamble, any clock; read rightly or refused with the reason."""
