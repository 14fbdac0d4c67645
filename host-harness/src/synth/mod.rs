//! Synthetic traces.
