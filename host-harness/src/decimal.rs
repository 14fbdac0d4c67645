//! Exact decimal numbers and values with units.
