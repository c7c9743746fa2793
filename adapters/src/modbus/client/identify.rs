//! What a machine says of itself (MODBUS Application Protocol V1.1b3, 6.21).

use bytes::Bytes;
use tokio_modbus::prelude::ReadCode;
use tokio_modbus::{Request, Response};

use super::{Client, Failure};

/// The most a machine is asked for: three objects are basic, each answer holds at least one.
const MOST_ANSWERS: usize = 8;

impl Client {
    /// The basic identification: each object's number and its text, as far as it is one.
    pub(crate) async fn identify(&mut self) -> Result<Vec<(u8, String)>, Failure> {
        let (mut objects, mut next) = (Vec::new(), 0);
        for _ in 0..MOST_ANSWERS {
            let request = Request::ReadDeviceIdentification(ReadCode::Basic, next);
            let pdu = self.ask(&request).await?;
            let answer = match Response::try_from(Bytes::copy_from_slice(&pdu)) {
                Ok(Response::ReadDeviceIdentification(answer)) => answer,
                _ => return Err(self.unfitting(&request, &pdu)),
            };
            let told = answer.device_id_objects.iter();
            objects.extend(told.map(|object| {
                (object.id, String::from_utf8_lossy(&object.value).trim().to_owned())
            }));
            if !answer.more_follows || answer.next_object_id <= next {
                break;
            }
            next = answer.next_object_id;
        }
        Ok(objects)
    }
}
