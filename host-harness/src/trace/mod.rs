//! Reading traces.
