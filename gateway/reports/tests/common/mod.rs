//! What the back-test is made of: simulated stencils, other methods, and the table of errors.

// Simulated numbers are small and whole; what cannot be had here fails the test.
#![allow(
    unreachable_pub,
    clippy::unwrap_used,
    clippy::panic,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss
)]

pub mod methods;
pub mod patterns;
pub mod plant;
pub mod random;
pub mod score;
pub mod stencils;
