"""Whether reported figures can be true, before anything is measured."""
