"""What keeps a gear from a better class: measured deviations split into physical components."""
