//! RabbitMQ keeps a durable message, by fe2o3-amqp at the address that the broker's version has.

use std::time::Duration;

use fe2o3_amqp::connection::ConnectionHandle;
use fe2o3_amqp::sasl_profile::SaslProfile;
use fe2o3_amqp::session::SessionHandle;
use fe2o3_amqp::types::messaging::{Data, Header, Message};
use fe2o3_amqp::{Connection, Receiver, Sender, Session};
use stencilward_tests::rabbitmq::{Broker, QUEUE, RabbitMq, TOLD, USER};
use stencilward_tests::service::{Service, Way};
use tokio::time::timeout;

use crate::life::{Keeps, live};

const LIMIT: Duration = Duration::from_secs(20);
const FAREWELL: Duration = Duration::from_secs(2);
const TEXT: &[u8] = b"seven strokes";

type Open = (ConnectionHandle<()>, SessionHandle<()>);

async fn open(broker: &RabbitMq) -> Open {
    let stream = tokio::net::TcpStream::connect(broker.address()).await.unwrap();
    stream.set_nodelay(true).unwrap();
    let mut connection = Connection::builder()
        .container_id("services")
        .hostname("127.0.0.1")
        .sasl_profile(SaslProfile::Plain { username: USER.0.into(), password: USER.1.into() })
        .open_with_stream(stream)
        .await
        .unwrap();
    let session = Session::begin(&mut connection).await.unwrap();
    (connection, session)
}

/// The older version answers no orderly end of a link, and sometimes no other.
async fn leave((mut connection, mut session): Open) {
    let leaving = async {
        let _ = session.end().await;
        let _ = connection.close().await;
    };
    let _ = timeout(FAREWELL, leaving).await;
}

/// Sends the message; the broker has accepted it when this returns.
async fn send(broker: &RabbitMq, target: String) {
    let mut open = open(broker).await;
    let message = Message::builder()
        .header(Header { durable: true, ..Header::default() })
        .data(Data(TEXT.to_vec().into()))
        .build();
    let sending = async {
        let mut sender = Sender::attach(&mut open.1, "sends", target).await.unwrap();
        sender.send(message).await.unwrap().accepted_or("refused").unwrap();
    };
    timeout(LIMIT, sending).await.expect("the broker takes the message");
    leave(open).await;
}

/// Takes one message out of this queue.
async fn take(broker: &RabbitMq, queue: &str) -> Vec<u8> {
    let mut open = open(broker).await;
    let taking = async {
        let source = broker.queue(queue);
        let mut receiver = Receiver::attach(&mut open.1, "takes", source).await.unwrap();
        let taken = receiver.recv::<Data>().await.unwrap();
        receiver.accept(&taken).await.unwrap();
        taken.body().0.to_vec()
    };
    let text = timeout(LIMIT, taking).await.expect("the queue has a message");
    leave(open).await;
    text
}

impl Keeps for Broker {
    async fn put(service: &Service<Self>) {
        // By the exchange with this key it comes into both queues.
        send(service, service.exchange("told")).await;
        assert_eq!(take(service, TOLD).await, TEXT);
    }

    async fn kept(service: &Service<Self>) -> Result<(), String> {
        assert_eq!(take(service, QUEUE).await, TEXT);
        send(service, service.queue(QUEUE)).await;
        Ok(())
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_a_container() {
    live(Broker::default(), Way::Container).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn installed() {
    live(Broker::default(), Way::Process).await;
}
