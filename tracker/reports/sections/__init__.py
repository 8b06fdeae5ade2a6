"""The sections that reports share: one module per subject, each a function from facts to a Section."""
