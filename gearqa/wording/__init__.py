"""Words and numbers for people: the only place that formats a number, a count, a verdict or a caution."""
