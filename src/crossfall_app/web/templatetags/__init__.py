"""Words that the templates add to Django's."""
