//! The words of the trade as types, and the loaders of case files and knowledge.
