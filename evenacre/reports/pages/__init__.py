"""The HTML pages, put together of tables, sentences and maps."""
