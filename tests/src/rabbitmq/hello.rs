//! The shortest conversations with a broker, apart from any AMQP library.

use std::io::{Error, ErrorKind, Result as IoResult};
use std::net::SocketAddr;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// The header of AMQP 1.0 with SASL (OASIS AMQP 1.0, 5.3.1).
const HEADER: [u8; 8] = *b"AMQP\x03\x01\x00\x00";

/// The header of AMQP 0-9-1 (AMQP 0-9-1, 4.2.2), to which a broker answers who it is.
const OLDER_HEADER: [u8; 8] = *b"AMQP\x00\x00\x09\x01";

/// The longest answer to it that is read, in bytes.
const LONGEST: u32 = 65_536;

/// The header is answered by the same; the error says what came instead.
pub(super) async fn hello(address: SocketAddr) -> Result<(), String> {
    let talk = async {
        let mut stream = TcpStream::connect(address).await?;
        stream.write_all(&HEADER).await?;
        let mut answer = [0; 8];
        stream.read_exact(&mut answer).await?;
        IoResult::Ok(answer)
    };
    match talk.await {
        Ok(HEADER) => Ok(()),
        Ok(answer) => Err(format!("it answered {answer:?}")),
        Err(why) => Err(why.to_string()),
    }
}

/// The first number of the broker's version, from the server properties of its Connection.Start
/// (AMQP 0-9-1, 1.4.2.1), a table of names and values (4.2.5.5).
pub(super) async fn version(address: SocketAddr) -> IoResult<u32> {
    let mut stream = TcpStream::connect(address).await?;
    stream.write_all(&OLDER_HEADER).await?;
    let mut kind_and_channel = [0; 3];
    stream.read_exact(&mut kind_and_channel).await?;
    let length = stream.read_u32().await?;
    if length > LONGEST {
        return Err(Error::new(ErrorKind::InvalidData, format!("a frame of {length} bytes")));
    }
    let mut start = vec![0; length as usize];
    stream.read_exact(&mut start).await?;
    first_number(&start).ok_or_else(|| {
        Error::new(ErrorKind::InvalidData, String::from_utf8_lossy(&start).into_owned())
    })
}

/// Of the long string named `version`.
fn first_number(start: &[u8]) -> Option<u32> {
    const NAME: &[u8] = b"\x07versionS";
    let at = start.windows(NAME.len()).position(|window| window == NAME)? + NAME.len();
    let (length, rest) = start.get(at..)?.split_first_chunk::<4>()?;
    let text = rest.get(..u32::from_be_bytes(*length) as usize)?;
    std::str::from_utf8(text).ok()?.split('.').next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_version_among_other_properties() {
        let start = b"\x07productS\0\0\0\x08RabbitMQ\x07versionS\0\0\0\x063.10.8\x01xt\x01";
        assert_eq!(first_number(start), Some(3));
        assert_eq!(
            first_number(&start.map(|byte| if byte == b'3' { b'4' } else { byte })),
            Some(4)
        );
    }

    #[test]
    fn no_version_in_what_is_cut_off() {
        assert_eq!(first_number(b"\x07versionS\0\0\0\x063.1"), None);
        assert_eq!(first_number(b""), None);
    }
}
