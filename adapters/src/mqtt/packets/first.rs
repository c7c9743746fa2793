//! The first packet: who we are, and on which terms.

use super::Post;

/// What is said when a connection begins.
#[derive(Debug, Clone)]
pub(crate) struct Hello {
    pub(in crate::mqtt) client: String,
    /// The broker shall forget what it kept for this client, and keep nothing after it.
    pub(in crate::mqtt) clean: bool,
    pub(in crate::mqtt) keep_alive: u16,
    pub(in crate::mqtt) login: Option<Login>,
    /// What the broker shall publish when the connection ends without leave.
    pub(crate) will: Option<Post>,
    /// How long the broker shall keep the session, in seconds (5.0 only).
    pub(in crate::mqtt) session_expiry: u32,
    /// Messages it may send before one is acknowledged (5.0 only).
    pub(in crate::mqtt) receive_maximum: u16,
    /// The largest packet it may send, in bytes (5.0 only).
    pub(in crate::mqtt) largest: u32,
}

/// A user and a password.
#[derive(Clone)]
pub(in crate::mqtt) struct Login {
    pub(in crate::mqtt) user: String,
    pub(in crate::mqtt) password: String,
}

impl std::fmt::Debug for Login {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Login").field("user", &self.user).finish_non_exhaustive()
    }
}
