//! What the tests ask of the Docker engine itself: networks, addresses, health.

use std::net::IpAddr;

use stencilward_tests::wait::eventually;
use testcontainers::bollard::Docker;
use testcontainers::bollard::models::{
    ContainerState, HostConfig, NetworkConnectRequest, NetworkCreateRequest,
    NetworkDisconnectRequest,
};
use testcontainers::bollard::query_parameters::KillContainerOptionsBuilder;
use testcontainers::core::client::docker_client_instance;

use crate::LIMIT;

/// The engine that runs the containers.
pub(crate) struct Engine(Docker);

/// A network from which no other can be reached, nor this computer's address in another. Gone when
/// it is dropped, which must be after its containers.
pub(crate) struct Apart {
    docker: Docker,
    pub(crate) name: String,
}

impl Drop for Apart {
    fn drop(&mut self) {
        let removed = tokio::task::block_in_place(|| {
            tokio::runtime::Handle::current().block_on(self.docker.remove_network(&self.name))
        });
        if let Err(why) = removed {
            eprintln!("the network {} is left behind: {why}", self.name);
        }
    }
}

impl Engine {
    pub(crate) async fn network_apart(&self, name: String) -> Apart {
        let request =
            NetworkCreateRequest { name: name.clone(), internal: Some(true), ..Default::default() };
        self.0.create_network(request).await.unwrap();
        Apart { docker: self.0.clone(), name }
    }

    pub(crate) async fn new() -> Self {
        Self(docker_client_instance().await.unwrap())
    }

    /// The address of this computer in a network.
    pub(crate) async fn host_in(&self, network: &str) -> IpAddr {
        let network = self.0.inspect_network(network, None).await.unwrap();
        let pools = network.ipam.and_then(|ipam| ipam.config).unwrap_or_default();
        let host = pools.into_iter().find_map(|pool| pool.gateway);
        host.and_then(|host| host.parse().ok()).unwrap_or_else(|| panic!("a network without host"))
    }

    /// The address of a container in a network.
    pub(crate) async fn address_in(&self, network: &str, container: &str) -> IpAddr {
        let container = self.0.inspect_container(container, None).await.unwrap();
        let mut networks = container.network_settings.and_then(|set| set.networks).unwrap();
        let address = networks.remove(network).and_then(|end| end.ip_address);
        address.and_then(|ip| ip.parse().ok()).unwrap_or_else(|| panic!("not in {network}"))
    }

    pub(crate) async fn connect(&self, network: &str, container: &str) {
        let container = container.to_owned();
        let request = NetworkConnectRequest { container, ..Default::default() };
        self.0.connect_network(network, request).await.unwrap();
    }

    pub(crate) async fn cut_off(&self, network: &str, container: &str) {
        let container = container.to_owned();
        let request = NetworkDisconnectRequest { container, force: None };
        self.0.disconnect_network(network, request).await.unwrap();
    }

    /// Sends a signal to the container's program, such as `SIGKILL`.
    pub(crate) async fn signal(&self, container: &str, signal: &str) {
        let options = KillContainerOptionsBuilder::default().signal(signal).build();
        self.0.kill_container(container, Some(options)).await.unwrap();
    }

    pub(crate) async fn state(&self, container: &str) -> ContainerState {
        self.0.inspect_container(container, None).await.unwrap().state.unwrap()
    }

    /// The user of a container's program, and what it was given.
    pub(crate) async fn hardening(&self, container: &str) -> (String, HostConfig) {
        let container = self.0.inspect_container(container, None).await.unwrap();
        let user = container.config.and_then(|config| config.user).unwrap_or_default();
        (user, container.host_config.unwrap())
    }

    /// Waits until the engine says of the container's health what is wanted, such as `healthy`.
    pub(crate) async fn until_health(&self, container: &str, wanted: &str) {
        eventually(&format!("the container is {wanted}"), LIMIT, async || {
            let health = self.state(container).await.health;
            let status = health.as_ref().and_then(|health| health.status).map(|s| s.to_string());
            if status.as_deref() == Some(wanted) { Ok(()) } else { Err(format!("{health:?}")) }
        })
        .await;
    }
}
