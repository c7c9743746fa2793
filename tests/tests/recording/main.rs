//! The program records machines, over reloads, restarts and `kill -9`, and replays what it
//! recorded.

mod broker;
mod kept;
mod printer;
mod works;
