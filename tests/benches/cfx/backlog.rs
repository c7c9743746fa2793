//! A durable queue, filled before the clock starts.

use std::time::Duration;

use fe2o3_amqp::connection::ConnectionHandle;
use fe2o3_amqp::sasl_profile::SaslProfile;
use fe2o3_amqp::session::SessionHandle;
use fe2o3_amqp::types::messaging::{Data, Header, Message, Properties};
use fe2o3_amqp::{Connection, Sender, Session};
use futures::StreamExt as _;
use futures::stream::FuturesUnordered;
use stencilward_tests::rabbitmq::{QUEUE, RabbitMq, USER};
use tokio::net::TcpStream;
use tokio::time::timeout;

use super::messages::{Packed, printed, seated};

/// Messages that the broker need not have confirmed yet.
const UNDER_WAY: usize = 500;
const PATIENCE: Duration = Duration::from_secs(60);
const FAREWELL: Duration = Duration::from_secs(2);

pub(crate) struct Backlog {
    port: u16,
    pub(crate) queue: String,
    number: u64,
}

/// A connection with one session.
pub(crate) struct Open {
    pub(crate) connection: ConnectionHandle<()>,
    pub(crate) session: SessionHandle<()>,
}

impl Backlog {
    pub(crate) fn new(broker: &RabbitMq) -> Self {
        Self { port: broker.port(), queue: broker.queue(QUEUE), number: 0 }
    }

    pub(crate) fn place(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// Opens a connection whose small frames leave at once.
    pub(crate) async fn open(&self, name: &str) -> Open {
        let stream = TcpStream::connect(self.place()).await.unwrap();
        stream.set_nodelay(true).unwrap();
        let mut connection = Connection::builder()
            .container_id(name)
            .hostname("127.0.0.1")
            .max_frame_size(65_536)
            .sasl_profile(SaslProfile::Plain { username: USER.0.into(), password: USER.1.into() })
            .open_with_stream(stream)
            .await
            .unwrap();
        let session = Session::begin(&mut connection).await.unwrap();
        Open { connection, session }
    }

    /// Sends that a stencil is in the printer, and so many panels after it; returns when the broker
    /// has them.
    pub(crate) async fn fill(&mut self, packed: Packed, panels: u64) {
        let mut open = self.open("bench-fills").await;
        let mut sender =
            Sender::attach(&mut open.session, "fills", self.queue.as_str()).await.unwrap();
        let mut under_way = FuturesUnordered::new();
        for panel in 0..=panels {
            self.number += 1;
            let text = if panel == 0 { seated(self.number) } else { printed(self.number) };
            let properties = Properties {
                content_type: Some("application/json; charset=\"utf-8\"".into()),
                content_encoding: matches!(packed, Packed::Gzip).then(|| "gzip".into()),
                ..Properties::default()
            };
            let message = Message::builder()
                .header(Header { durable: true, ..Header::default() })
                .properties(properties)
                .data(Data(packed.pack(&text).into()))
                .build();
            under_way.push(sender.send_batchable(message).await.unwrap());
            while under_way.len() >= UNDER_WAY {
                next(&mut under_way).await;
            }
        }
        while !under_way.is_empty() {
            next(&mut under_way).await;
        }
        leave(open).await;
    }
}

async fn next<F: Future>(under_way: &mut FuturesUnordered<F>) {
    timeout(PATIENCE, under_way.next()).await.unwrap().unwrap();
}

/// This broker answers no orderly end of a link, and sometimes no other.
pub(crate) async fn leave(mut open: Open) {
    let leaving = async {
        let _ = open.session.end().await;
        let _ = open.connection.close().await;
    };
    let _ = timeout(FAREWELL, leaving).await;
}
