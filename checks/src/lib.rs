//! Checks of the product against the outside world.
