//! The shortest conversation that shows a broker is serving, apart from any MQTT library.

use std::net::SocketAddr;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// CONNECT and DISCONNECT of MQTT 3.1.1 (OASIS, sections 3.1 and 3.14): clean session, no name.
const CONNECT: [u8; 14] = [0x10, 12, 0, 4, b'M', b'Q', b'T', b'T', 4, 0b10, 0, 10, 0, 0];
const DISCONNECT: [u8; 2] = [0xe0, 0];

/// CONNACK with return code 0 (section 3.2): accepted.
const ACCEPTED: [u8; 4] = [0x20, 2, 0, 0];

/// Connects and leaves; the error says what came instead of an acceptance.
pub(super) async fn hello(address: SocketAddr) -> Result<(), String> {
    match talk(address).await {
        Ok(ACCEPTED) => Ok(()),
        Ok(answer) => Err(format!("it answered {answer:?}")),
        Err(why) => Err(why.to_string()),
    }
}

async fn talk(address: SocketAddr) -> std::io::Result<[u8; 4]> {
    let mut stream = TcpStream::connect(address).await?;
    stream.write_all(&CONNECT).await?;
    let mut answer = [0; 4];
    stream.read_exact(&mut answer).await?;
    stream.write_all(&DISCONNECT).await?;
    Ok(answer)
}
