//! Physics of a wall-flow particulate filter: gas, geometry, deposits, pressure drop, soot oxidation, ash.
