//! Bytes to signals: log containers, frames, transport, services, named series with units.
