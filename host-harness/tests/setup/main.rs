//! The setup file: what it becomes, and what is said of a mistake in it.

mod analogue;
mod axis;
mod columns;
mod decimal;
mod errors;
mod kinds;
mod loads;
mod machine;
mod mangled;
mod outputs;
mod references;
mod rendered;
mod stops;
mod support;
