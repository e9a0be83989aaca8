"""A pile-up to practise in, with a radio that is not there: nothing is ever transmitted."""
