//! Facts to posterior: summaries of recordings, priors, fault sets, balance, proof.
