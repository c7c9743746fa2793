//! Secrets: made, judged, hashed and compared, slowly where people choose them.
//!
//! Passwords and PINs are kept as argon2id (RFC 9106) with 19 MiB, 2 passes and 1 lane, the
//! weakest set that the OWASP Password Storage Cheat Sheet still lists: a gateway beside a line
//! has little memory. What is random by itself, tokens and session ids, has 256 bits and is kept
//! as SHA-256: there is nothing to guess, so nothing to slow down.

use std::fmt::Write as _;

use argon2::password_hash::{PasswordHash, PasswordHasher as _, PasswordVerifier as _, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};
use sha2::{Digest as _, Sha256};

/// Shortest password taken, in characters. ASVS 5.0, 6.2.1 asks for 8 and would like 15.
pub(super) const SHORTEST_PASSWORD: usize = 12;
/// Longest, in characters: ASVS 5.0, 6.2.9 asks for 64 at least.
pub(super) const LONGEST_PASSWORD: usize = 128;
/// Fewest digits of a PIN: common practice, from memory.
pub(super) const SHORTEST_PIN: usize = 6;
/// Most digits of a PIN.
pub(super) const LONGEST_PIN: usize = 12;

/// Memory in KiB, passes and lanes.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);

/// What no password hashes to: compared with when nobody bears the name, so that an answer takes
/// as long.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5IGlzIGhlcmU$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

fn hasher() -> Argon2<'static> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None).unwrap_or_default();
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

/// Random bytes from the operating system.
///
/// # Errors
/// When it has none to give.
pub(crate) fn random<const N: usize>() -> std::io::Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
    Ok(bytes)
}

/// 256 random bits, in hexadecimal.
///
/// # Errors
/// As for [`random`].
pub(crate) fn token() -> std::io::Result<String> {
    Ok(hex(&random::<32>()?))
}

/// A password to begin with: 20 letters and digits that are not mistaken for each other, 100 bits.
///
/// # Errors
/// As for [`random`].
pub(crate) fn first_password() -> std::io::Result<String> {
    const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
    let bytes = random::<20>()?;
    let letters = bytes.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)]));
    Ok(letters.collect())
}

/// The digest of a random secret.
pub(crate) fn digest(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// Bytes in hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The hash of a password or PIN, as a PHC string. Takes tens of milliseconds.
///
/// # Errors
/// When there is no salt to be had.
pub(crate) fn hash(secret: &str) -> std::io::Result<String> {
    let failed = |error: argon2::password_hash::Error| std::io::Error::other(error.to_string());
    let salt = SaltString::encode_b64(&random::<16>()?).map_err(failed)?;
    let hash = hasher().hash_password(secret.as_bytes(), &salt).map_err(failed)?;
    Ok(hash.to_string())
}

/// Compares, in constant time and as slowly when there is nothing to compare with.
pub(crate) fn is_right(secret: &str, hash: Option<&str>) -> bool {
    let known = hash.is_some();
    let Ok(parsed) = PasswordHash::new(hash.unwrap_or(NOBODY)) else { return false };
    hasher().verify_password(secret.as_bytes(), &parsed).is_ok() && known
}

/// Compares short texts without telling by the time taken where they differ.
pub(crate) fn same(one: &str, other: &str) -> bool {
    digest(one) == digest(other)
}

/// What speaks against a password, with what to do.
///
/// # Errors
/// A sentence for whoever chose it.
pub fn judge_password(password: &str, name: &str) -> Result<(), String> {
    let length = password.chars().count();
    if !(SHORTEST_PASSWORD..=LONGEST_PASSWORD).contains(&length) {
        return Err(format!(
            "the password has {length} characters: choose {SHORTEST_PASSWORD} to \
             {LONGEST_PASSWORD}, such as four words that do not belong together"
        ));
    }
    let small = password.to_lowercase();
    let different: std::collections::BTreeSet<char> = small.chars().collect();
    let known = [name.to_lowercase(), "stencilward".to_owned(), "password".to_owned()];
    let guessed = known.iter().any(|word| word.chars().count() >= 4 && small.contains(word));
    if different.len() < 6 || guessed {
        return Err("the password is among the first that are guessed: choose another one, such \
                    as four words that do not belong together"
            .to_owned());
    }
    Ok(())
}

/// What speaks against a PIN, with what to do.
///
/// # Errors
/// A sentence for whoever chose it.
pub fn judge_pin(pin: &str) -> Result<(), String> {
    let digits = pin.bytes().all(|byte| byte.is_ascii_digit());
    if !digits || !(SHORTEST_PIN..=LONGEST_PIN).contains(&pin.len()) {
        return Err(format!("a PIN is {SHORTEST_PIN} to {LONGEST_PIN} digits: choose such a one"));
    }
    let steps: std::collections::BTreeSet<i16> =
        pin.as_bytes().windows(2).map(|pair| i16::from(pair[1]) - i16::from(pair[0])).collect();
    if steps.len() < 2 {
        return Err(
            "the PIN counts or repeats: choose digits that do not follow each other".to_owned()
        );
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_right_secret_is_right() {
        let hashed = hash("four words of no sense").unwrap();
        // OWASP Password Storage Cheat Sheet: argon2id, m=19456 (19 MiB), t=2, p=1.
        assert!(hashed.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hashed}");
        assert!(is_right("four words of no sense", Some(&hashed)));
        assert!(!is_right("four words of no sens", Some(&hashed)));
        assert!(!is_right("", Some(&hashed)));
        assert!(!is_right("x", None));
        assert!(!is_right("x", Some("no hash")));
        assert!(PasswordHash::new(NOBODY).is_ok(), "nobody's takes as long");
        assert_ne!(hash("x").unwrap(), hash("x").unwrap(), "each has a salt of its own");
    }

    #[test]
    fn what_is_guessed_first_is_not_taken() {
        for bad in ["short", "aaaaaaaaaaaaaaaa", "stencilward-2026", "M. Muster ist hier"] {
            assert!(judge_password(bad, "M. Muster").is_err(), "{bad}");
        }
        assert_eq!(judge_password("kettle orbit lamp sand", "M. Muster"), Ok(()));
        for bad in ["1234", "123456", "987654", "111111", "12345a", "1234567890123"] {
            assert!(judge_pin(bad).is_err(), "{bad}");
        }
        assert_eq!(judge_pin("270418"), Ok(()));
        assert_eq!(judge_password(&first_password().unwrap(), "manager"), Ok(()));
    }
}
