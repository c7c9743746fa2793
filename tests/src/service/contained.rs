//! A server in a container, through testcontainers.

use std::net::Ipv4Addr;
use std::sync::atomic::{AtomicUsize, Ordering};

use testcontainers::bollard::models::{HostConfig, PortBinding};
use testcontainers::bollard::query_parameters::{
    KillContainerOptionsBuilder, RemoveContainerOptionsBuilder,
};
use testcontainers::core::IntoContainerPort;
use testcontainers::core::client::docker_client_instance;
use testcontainers::runners::AsyncRunner;
use testcontainers::{ContainerAsync, ContainerRequest, GenericImage, ImageExt};

use super::image::Image;
use super::{Server, Site, TRIES, taken};
use crate::free_port::free_port;

/// Seconds from the request to stop until it is killed.
const GRACE: i32 = 10;

/// Open files that a program may have. Some engines allow a thousand million, for each of which
/// RabbitMQ's runtime reserves memory; others cannot give more than they have themselves.
const FILES: i64 = 8_192;

#[derive(Debug)]
pub(super) struct Contained {
    name: String,
    container: ContainerAsync<GenericImage>,
}

impl Contained {
    /// Starts it; the ports are those of this machine.
    pub(super) async fn start<S: Server>(server: &S, image: &Image) -> (Self, Vec<u16>) {
        for _ in 0..TRIES {
            let ports: Vec<u16> = S::PORTS.iter().map(|_| free_port()).collect();
            let name = name(S::NAME);
            match request(server, image, &ports, &name).start().await {
                Ok(container) => return (Self { name, container }, ports),
                // Made, but not started, it would stay.
                Err(why) => {
                    remove(&name).await;
                    let why = format!("{why:?}");
                    assert!(taken(&why), "no container from {}:{}: {why}", image.name, image.tag);
                }
            }
        }
        panic!("{} found each of {TRIES} free ports taken", S::NAME);
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    pub(super) async fn stop(&self) {
        done(self.container.stop_with_timeout(Some(GRACE)).await);
    }

    pub(super) async fn kill(&self) {
        let docker = done(docker_client_instance().await);
        let options = KillContainerOptionsBuilder::new().signal("SIGKILL").build();
        done(docker.kill_container(&self.name, Some(options)).await);
    }

    pub(super) async fn again(&self) {
        done(self.container.start().await);
    }

    pub(super) async fn pause(&self) {
        done(self.container.pause().await);
    }

    pub(super) async fn unpause(&self) {
        done(self.container.unpause().await);
    }

    pub(super) async fn transcript(&self) -> String {
        let mut said = self.container.stdout_to_vec().await.unwrap_or_default();
        said.extend(self.container.stderr_to_vec().await.unwrap_or_default());
        String::from_utf8_lossy(&said).into_owned()
    }
}

/// A name by which it is found again when it could not be started.
fn name(service: &str) -> String {
    static STARTED: AtomicUsize = AtomicUsize::new(0);
    let number = STARTED.fetch_add(1, Ordering::Relaxed);
    format!("stencilward-{service}-{}-{number}", std::process::id())
}

fn request<S: Server>(
    server: &S,
    image: &Image,
    ports: &[u16],
    name: &str,
) -> ContainerRequest<GenericImage> {
    let site = site::<S>(ports);
    let mut request = GenericImage::new(&image.name, &image.tag)
        .with_container_name(name)
        .with_cmd(server.command(&site))
        .with_ulimit("nofile", FILES, Some(FILES));
    for (file, text) in server.files(&site) {
        let target = site.configuration.join(file);
        request = request.with_copy_to(target.to_string_lossy().into_owned(), text.into_bytes());
    }
    if S::SHARES_NETWORK {
        return request.with_host_config_modifier(share_network);
    }
    for (outside, inside) in ports.iter().zip(&site.ports) {
        request = request.with_mapped_port(*outside, inside.tcp());
    }
    request.with_host_config_modifier(only_on_loopback)
}

fn site<S: Server>(ports: &[u16]) -> Site {
    let (address, ports) = if S::SHARES_NETWORK {
        (Ipv4Addr::LOCALHOST, ports)
    } else {
        (Ipv4Addr::UNSPECIFIED, S::PORTS)
    };
    Site {
        address: address.into(),
        ports: ports.to_vec(),
        configuration: S::CONFIGURATION.into(),
        data: S::DATA.into(),
    }
}

fn share_network(host: &mut HostConfig) {
    host.network_mode = Some("host".to_owned());
    host.publish_all_ports = Some(false);
}

/// The engine would open the ports on every interface.
fn only_on_loopback(host: &mut HostConfig) {
    let bindings = host.port_bindings.iter_mut().flat_map(|ports| ports.values_mut()).flatten();
    let only = |binding: &mut PortBinding| binding.host_ip = Some(Ipv4Addr::LOCALHOST.to_string());
    bindings.flatten().for_each(only);
}

async fn remove(name: &str) {
    let docker = done(docker_client_instance().await);
    let options = RemoveContainerOptionsBuilder::new().force(true).v(true).build();
    docker.remove_container(name, Some(options)).await.ok();
}

fn done<T, E: std::fmt::Debug>(result: Result<T, E>) -> T {
    result.unwrap_or_else(|why| panic!("the Docker engine did not obey: {why:?}"))
}
