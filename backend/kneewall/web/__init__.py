"""The office's server: the phones' API, the office's pages and the app's own files."""
