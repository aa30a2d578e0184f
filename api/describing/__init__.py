"""The API's description in words, shapes and examples; `api/description.py` puts it together."""
