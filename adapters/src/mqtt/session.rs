//! One connection to a broker, from the first packet to the last.
//!
//! A task of its own moves packets both ways, answers releases and asks for signs of life, and
//! never waits for whoever hears it. What has arrived and is not taken yet holds room; when there
//! is none left it stops reading until there is, and goes on sending.

use std::sync::Arc;
use std::time::Duration;

use bytes::BytesMut;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, ReadHalf, WriteHalf};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::time::{Instant, sleep_until, timeout};
use tokio_util::task::AbortOnDropHandle;

use super::access::{Access, Stream};
use super::lost::Lost;
use super::packets::{
    Arrived, Goodbye, Grant, Hello, Inbox, Incoming, Malformed, Outgoing, Post, Token, Welcome,
};
use super::settings::Version;

/// Longest wait for a connection and for being let in.
const LETTING_IN: Duration = Duration::from_secs(5);

/// What may wait to be dealt with, in KiB; each message counts as one more than its size.
const ROOM: usize = 64 * 1024;

/// Orders that may wait to be sent; more wait in whoever gives them.
const ORDERS: usize = 1_024;

/// Bytes that may wait to be written before the next order is looked at.
const UNWRITTEN: usize = 64 * 1024;

/// What a connection is told to do.
#[derive(Debug)]
pub(crate) enum Order {
    Subscribe(u16, Vec<(String, u8)>),
    /// With QoS 1 under this id, or with QoS 0 under 0: the broker confirms that one never.
    Publish(u16, Post),
    /// In this order.
    Acknowledge(Vec<Token>),
    Leave,
}

/// What a connection tells.
#[derive(Debug)]
pub(crate) enum Incident {
    Message(Arrived, Room),
    Confirmed { id: u16, refusal: Option<String> },
    Granted { id: u16, grants: Vec<Grant> },
}

/// The room that a message holds until this is dropped.
#[derive(Debug)]
pub(crate) struct Room(#[expect(dead_code, reason = "it is held, not used")] OwnedSemaphorePermit);

/// A connection that is up. It ends when dropped.
pub(crate) struct Session {
    pub(super) welcome: Welcome,
    pub(crate) orders: mpsc::Sender<Order>,
    /// Bounded by the room there is. The last one says why the connection ended.
    pub(crate) incidents: mpsc::UnboundedReceiver<Result<Incident, Lost>>,
    pub(crate) moving: AbortOnDropHandle<()>,
}

impl Session {
    /// Connects, and waits until the broker lets us in.
    pub(crate) async fn open(access: &Access, hello: &Hello) -> Result<Self, Lost> {
        let opening = async {
            let stream = access.way().await?;
            let (reader, writer) = tokio::io::split(stream);
            let inbox = Inbox::new(access.version(), access.largest());
            let mut mover = Mover::new(access.version(), inbox, reader, writer);
            let welcome = mover.be_let_in(hello).await?;
            Ok::<_, Lost>((mover, welcome))
        };
        let (mut mover, welcome) =
            timeout(LETTING_IN, opening).await.map_err(|_| Lost::Late("a connection"))??;
        let seconds = welcome.keep_alive.unwrap_or(hello.keep_alive);
        mover.keep_alive = Duration::from_secs(u64::from(seconds.max(1)));
        mover.largest = welcome.largest.map_or(usize::MAX, |most| most as usize);
        let (orders, told) = mpsc::channel(ORDERS);
        let (tell, incidents) = mpsc::unbounded_channel();
        let moving = tokio::spawn(async move {
            let lost = mover.run(told, &tell).await;
            // Whoever listened may be gone.
            let _ = tell.send(Err(lost));
        });
        Ok(Self { welcome, orders, incidents, moving: AbortOnDropHandle::new(moving) })
    }
}

/// Moves packets.
struct Mover {
    version: Version,
    reader: ReadHalf<Box<dyn Stream>>,
    writer: WriteHalf<Box<dyn Stream>>,
    inbox: Inbox,
    out: BytesMut,
    unflushed: bool,
    room: Arc<Semaphore>,
    /// Has arrived, and waits for room.
    held: Option<Arrived>,
    keep_alive: Duration,
    /// The largest packet that the broker takes.
    largest: usize,
    last_read: Instant,
    last_written: Instant,
    asked: Option<Instant>,
    leaving: bool,
}

type Tell = mpsc::UnboundedSender<Result<Incident, Lost>>;

impl Mover {
    fn new(
        version: Version,
        inbox: Inbox,
        reader: ReadHalf<Box<dyn Stream>>,
        writer: WriteHalf<Box<dyn Stream>>,
    ) -> Self {
        let now = Instant::now();
        Self {
            version,
            reader,
            writer,
            inbox,
            out: BytesMut::new(),
            unflushed: false,
            room: Arc::new(Semaphore::new(ROOM)),
            held: None,
            keep_alive: Duration::from_secs(10),
            largest: usize::MAX,
            last_read: now,
            last_written: now,
            asked: None,
            leaving: false,
        }
    }

    async fn be_let_in(&mut self, hello: &Hello) -> Result<Welcome, Lost> {
        self.put(&Outgoing::Hello(hello))?;
        self.writer
            .write_all_buf(&mut self.out)
            .await
            .map_err(|error| Lost::Broken(Some(error)))?;
        self.writer.flush().await.map_err(|error| Lost::Broken(Some(error)))?;
        loop {
            match self.inbox.next()? {
                Some(Incoming::Welcome(welcome)) => return Ok(welcome),
                Some(Incoming::Refused(why)) => return Err(Lost::Refused(why)),
                Some(Incoming::Goodbye(goodbye)) => return Err(goodbye.into()),
                Some(_) => return Err(Lost::Garbled("no answer to our greeting".to_owned())),
                None => {
                    let read = self.reader.read_buf(self.inbox.buffer()).await;
                    self.have_read(read)?;
                }
            }
        }
    }

    /// Moves packets until the connection ends, and says why it did.
    async fn run(&mut self, mut orders: mpsc::Receiver<Order>, tell: &Tell) -> Lost {
        loop {
            if let Err(lost) = self.turn(&mut orders, tell).await {
                return lost;
            }
        }
    }

    async fn turn(&mut self, orders: &mut mpsc::Receiver<Order>, tell: &Tell) -> Result<(), Lost> {
        while self.held.is_none()
            && let Some(incoming) = self.inbox.next()?
        {
            self.hear(incoming, tell)?;
        }
        let due = self.due();
        let room = Arc::clone(&self.room);
        let writing = self.unflushed || !self.out.is_empty();
        let needed = self.held.as_ref().map_or(0, needs);
        tokio::select! {
            read = self.reader.read_buf(self.inbox.buffer()), if self.held.is_none() => {
                self.have_read(read)
            }
            found = room.acquire_many_owned(needed), if self.held.is_some() => {
                if let (Ok(room), Some(arrived)) = (found, self.held.take()) {
                    // Nobody was listening meanwhile: silence means nothing.
                    (self.last_read, self.asked) = (Instant::now(), None);
                    let _ = tell.send(Ok(Incident::Message(arrived, Room(room))));
                }
                Ok(())
            }
            written = write(&mut self.writer, &mut self.out), if writing => match written {
                Ok(0) if self.out.is_empty() => {
                    self.unflushed = false;
                    Ok(())
                }
                Ok(0) => Err(Lost::Broken(None)),
                Ok(_) => {
                    (self.last_written, self.unflushed) = (Instant::now(), true);
                    Ok(())
                }
                Err(error) => Err(Lost::Broken(Some(error))),
            },
            order = orders.recv(), if self.out.len() < UNWRITTEN && !self.leaving => {
                self.obey(order, tell)?;
                while self.out.len() < UNWRITTEN && !self.leaving
                    && let Ok(order) = orders.try_recv()
                {
                    self.obey(Some(order), tell)?;
                }
                Ok(())
            }
            () = sleep_until(due) => self.ask_for_life(),
        }
    }

    fn have_read(&mut self, read: std::io::Result<usize>) -> Result<(), Lost> {
        match read {
            Ok(0) => Err(Lost::Broken(None)),
            Ok(_) => {
                (self.last_read, self.asked) = (Instant::now(), None);
                Ok(())
            }
            Err(error) => Err(Lost::Broken(Some(error))),
        }
    }

    fn hear(&mut self, incoming: Incoming, tell: &Tell) -> Result<(), Lost> {
        let incident = match incoming {
            Incoming::Message(arrived) => {
                match Arc::clone(&self.room).try_acquire_many_owned(needs(&arrived)) {
                    Ok(room) => Incident::Message(arrived, Room(room)),
                    Err(_) => {
                        self.held = Some(arrived);
                        return Ok(());
                    }
                }
            }
            Incoming::Confirmed { id, refusal } => Incident::Confirmed { id, refusal },
            Incoming::Granted { id, grants } => Incident::Granted { id, grants },
            // Every release is answered, known or not (MQTT 3.1.1 and 5.0, 4.3.3).
            Incoming::Released(id) => return self.put(&Outgoing::Complete(id)),
            Incoming::Goodbye(goodbye) => return Err(goodbye.into()),
            Incoming::Welcome(_) | Incoming::Refused(_) => {
                return Err(Lost::Garbled("let in twice".to_owned()));
            }
            Incoming::Pong | Incoming::Other => return Ok(()),
        };
        let _ = tell.send(Ok(incident));
        Ok(())
    }

    fn obey(&mut self, order: Option<Order>, tell: &Tell) -> Result<(), Lost> {
        match order {
            Some(Order::Subscribe(id, filters)) => self.put(&Outgoing::Subscribe(id, &filters)),
            Some(Order::Acknowledge(tokens)) => tokens
                .into_iter()
                .filter(|token| token.qos > 0)
                .try_for_each(|token| self.put(&Outgoing::Acknowledge(token))),
            Some(Order::Publish(id, post)) => {
                let before = self.out.len();
                self.put(&Outgoing::Publish(id, &post))?;
                if self.out.len() - before > self.largest {
                    self.out.truncate(before);
                    let most = self.largest;
                    let refusal = Some(format!("it takes no packets of more than {most} bytes"));
                    let _ = tell.send(Ok(Incident::Confirmed { id, refusal }));
                }
                Ok(())
            }
            Some(Order::Leave) | None => {
                self.leaving = true;
                self.put(&Outgoing::Leave)
            }
        }
    }

    fn put(&mut self, packet: &Outgoing<'_>) -> Result<(), Lost> {
        Ok(self.version.write(packet, &mut self.out)?)
    }

    /// When a sign of life is to be asked for, or its absence to be told.
    fn due(&self) -> Instant {
        let pace = self.keep_alive.mul_f32(0.75);
        match self.asked {
            Some(asked) => asked + self.keep_alive,
            // It cannot be heard while there is no room, but must hear from us.
            None if self.held.is_some() => self.last_written + pace,
            None => self.last_read.min(self.last_written) + pace,
        }
    }

    fn ask_for_life(&mut self) -> Result<(), Lost> {
        if self.asked.is_some() && self.held.is_none() {
            return Err(Lost::Silent);
        }
        (self.last_written, self.asked) = (Instant::now(), Some(Instant::now()));
        self.put(&Outgoing::Ping)
    }
}

/// Writes some of what is to be written; 0 once nothing is left, and all has left.
async fn write(
    writer: &mut WriteHalf<Box<dyn Stream>>,
    out: &mut BytesMut,
) -> std::io::Result<usize> {
    if out.is_empty() {
        return writer.flush().await.map(|()| 0);
    }
    writer.write_buf(out).await
}

/// The room a message needs, in KiB.
fn needs(arrived: &Arrived) -> u32 {
    let size = (arrived.topic.len() + arrived.payload.len()) / 1024 + 1;
    u32::try_from(size.min(ROOM)).unwrap_or(1)
}

impl From<Malformed> for Lost {
    fn from(malformed: Malformed) -> Self {
        Self::Garbled(malformed.0)
    }
}

impl From<Goodbye> for Lost {
    fn from(goodbye: Goodbye) -> Self {
        match goodbye {
            Goodbye::TakenOver => Self::TakenOver,
            Goodbye::Other(why) => Self::Dismissed(why),
        }
    }
}
