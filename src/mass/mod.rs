//! Mass roll-up: contributions, spread by causes, growth, budgets, centre of gravity.
