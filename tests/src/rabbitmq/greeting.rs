//! The shortest conversation that shows a broker speaks AMQP 1.0, apart from any library.

use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// The header of a connection with SASL (OASIS AMQP 1.0, part 5, 5.3.1). A peer that agrees sends
/// the same.
const HEADER: [u8; 8] = *b"AMQP\x03\x01\x00\x00";

/// Greets and leaves; the error says what came instead of the same greeting.
pub(super) async fn greet(host: &str, port: u16) -> Result<(), String> {
    let talk = async {
        let mut stream = TcpStream::connect((host, port)).await?;
        stream.write_all(&HEADER).await?;
        let mut answer = [0; 8];
        stream.read_exact(&mut answer).await?;
        Ok::<_, std::io::Error>(answer)
    };
    match tokio::time::timeout(Duration::from_secs(2), talk).await {
        Ok(Ok(HEADER)) => Ok(()),
        Ok(Ok(answer)) => Err(format!("it answered {answer:?}")),
        Ok(Err(why)) => Err(why.to_string()),
        Err(_) => Err("it did not answer".to_owned()),
    }
}
