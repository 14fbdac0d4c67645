//! The setup file.
