//! The machines: plain servers of the library, in a process of their own.

use std::future;
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU16, Ordering};

use tokio::net::TcpListener;
use tokio_modbus::prelude::*;
use tokio_modbus::server::tcp::{Server, accept_tcp_connection};

/// The argument that makes this program the servers.
pub(crate) const AS_SERVERS: &str = "--as-servers";

/// A total of 70,000, the state 1, and the code ST-000000001, two characters to a register.
pub(crate) const REGISTERS: [u16; 10] =
    [1, 4_464, 1, 0x5354, 0x2d30, 0x3030, 0x3030, 0x3030, 0x3031, 0x0000];

/// What the machines do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Machines {
    /// The registers stay as they are, as between two strokes.
    AtRest,
    /// Each read finds one stroke more.
    Hasty,
}

/// Servers at work; dropped, they end.
pub(crate) struct Servers {
    process: Child,
    pub(crate) addresses: Vec<SocketAddr>,
}

impl Servers {
    /// So many, each on a port of its own.
    pub(crate) fn start(count: usize, machines: Machines) -> Self {
        let mut process = Command::new(std::env::current_exe().unwrap())
            .args([AS_SERVERS, &count.to_string(), &(machines as u16).to_string()])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let lines = BufReader::new(process.stdout.take().unwrap()).lines();
        let addresses = lines.take(count).map(|line| line.unwrap().parse().unwrap()).collect();
        Self { process, addresses }
    }
}

impl Drop for Servers {
    fn drop(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }
}

struct Registers {
    total: AtomicU16,
    strokes_a_read: u16,
}

impl tokio_modbus::server::Service for Registers {
    type Request = Request<'static>;
    type Response = Response;
    type Exception = ExceptionCode;
    type Future = future::Ready<Result<Response, ExceptionCode>>;

    fn call(&self, request: Request<'static>) -> Self::Future {
        future::ready(match request {
            Request::ReadInputRegisters(at, count) => {
                let (at, count) = (usize::from(at), usize::from(count));
                let mut registers = REGISTERS;
                registers[1] = self.total.fetch_add(self.strokes_a_read, Ordering::Relaxed);
                let found = registers.get(at..at + count);
                found
                    .map(|words| Response::ReadInputRegisters(words.to_vec()))
                    .ok_or(ExceptionCode::IllegalDataAddress)
            }
            _ => Err(ExceptionCode::IllegalFunction),
        })
    }
}

/// Serves until it is killed.
pub(crate) fn serve(count: usize, strokes_a_read: u16) {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        for _ in 0..count {
            let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
            println!("{}", listener.local_addr().unwrap());
            tokio::spawn(async move {
                let server = Server::new(listener);
                let service = move |_| {
                    Ok(Some(Registers { total: AtomicU16::new(REGISTERS[1]), strokes_a_read }))
                };
                let connected =
                    move |stream, peer| async move { accept_tcp_connection(stream, peer, service) };
                server.serve(&connected, |_| {}).await.unwrap();
            });
        }
        future::pending::<()>().await;
    });
}
