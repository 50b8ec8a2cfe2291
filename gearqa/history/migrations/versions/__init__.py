"""One file per schema version; a file that was released is never changed."""
