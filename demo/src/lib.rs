//! An invented workshop and a physically independent simulator of filters and cars.
