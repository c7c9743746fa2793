//! What every server goes through.

use std::net::TcpStream;
use std::time::Duration;

use rustix::process::{Pid, test_kill_process_group};
use stencilward_tests::missing;
use stencilward_tests::service::{Server, Service, Way, engine_answers};
use stencilward_tests::wait::eventually;
use testcontainers::core::client::docker_client_instance;

const LIMIT: Duration = Duration::from_secs(30);

/// A server that keeps something.
pub(crate) trait Keeps: Server + Sized {
    /// Gives it something; when this returns, it must not be lost any more.
    async fn put(service: &Service<Self>);

    /// That it has this still; else what it has.
    async fn kept(service: &Service<Self>) -> Result<(), String>;
}

/// Started in this way, killed, stopped, frozen and ended. Without a Docker engine there is nothing
/// to show of containers.
pub(crate) async fn live<S: Keeps>(server: S, way: Way) {
    if way == Way::Container && !engine_answers().await {
        missing::skip_anywhere("no Docker engine answers");
        return;
    }
    let Some(mut service) = Service::run_in(server, way).await else { return };
    assert_eq!(service.in_container(), way == Way::Container);
    S::put(&service).await;

    service.kill().await;
    silent(&service).await;
    service.again().await;
    has_it(&service).await;

    service.stop().await;
    silent(&service).await;
    service.again().await;
    has_it(&service).await;

    service.pause().await;
    silent(&service).await;
    service.unpause().await;
    eventually("it goes on", LIMIT, async || service.hello().await).await;
    has_it(&service).await;

    service.pause().await;
    leaves_nothing(service).await;
}

async fn silent<S: Server>(service: &Service<S>) {
    assert!(service.hello().await.is_err(), "{} answers", S::NAME);
}

async fn has_it<S: Keeps>(service: &Service<S>) {
    eventually("it has what it was given", LIMIT, async || S::kept(service).await).await;
}

async fn leaves_nothing<S: Server>(service: Service<S>) {
    let (container, process) = (service.container().map(str::to_owned), service.process());
    let address = service.address();
    drop(service);
    assert!(TcpStream::connect(address).is_err(), "somebody still listens at {address}");
    if let Some(name) = container {
        let docker = docker_client_instance().await.unwrap();
        let found = docker.inspect_container(&name, None).await;
        assert!(found.is_err_and(|why| why.to_string().contains("No such container")));
    }
    if let Some(id) = process {
        let group = Pid::from_raw(i32::try_from(id).unwrap()).unwrap();
        assert!(test_kill_process_group(group).is_err(), "process group {id} lives");
    }
}
