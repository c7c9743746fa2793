//! A small invented plant and a short way to tell it what happens.

#![allow(dead_code)]

pub(crate) mod breaks;
pub(crate) mod floor;
pub(crate) mod honest;
pub(crate) mod moves;
pub(crate) mod one;
pub(crate) mod oracle;
pub(crate) mod plant;
pub(crate) mod samples;
pub(crate) mod words;
