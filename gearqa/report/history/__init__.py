"""History store and watch: words, page."""
