"""Parts of `gearqa.evaluate`: where core, standards and model meet."""
