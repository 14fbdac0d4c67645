//! Expectations.
