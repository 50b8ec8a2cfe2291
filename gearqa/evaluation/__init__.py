"""Parts of `gearqa.evaluation.evaluate`: where core, standards and model meet."""
