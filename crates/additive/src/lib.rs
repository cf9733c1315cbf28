//! Physics and chemistry of workshop fluids: identity, dose, blends, oxide ash, gravity transfer.
