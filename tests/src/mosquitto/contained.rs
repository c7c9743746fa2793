//! Mosquitto in a container, through testcontainers.

use testcontainers::core::IntoContainerPort;
use testcontainers::core::error::TestcontainersError;
use testcontainers::runners::AsyncRunner;
use testcontainers::{ContainerAsync, GenericImage, ImageExt};

use super::{Limits, configuration};

/// Seconds from the request to stop until it is killed.
const GRACE: i32 = 5;

#[derive(Debug)]
pub(super) struct Contained(ContainerAsync<GenericImage>);

impl Contained {
    pub(super) async fn start(name: &str, tag: &str, port: u16, limits: Limits) -> Self {
        let text = configuration("1883 0.0.0.0", "/mosquitto/data", limits);
        let container = GenericImage::new(name, tag)
            .with_mapped_port(port, 1883.tcp())
            .with_copy_to("/mosquitto/config/mosquitto.conf", text.into_bytes())
            .start()
            .await;
        Self(container.unwrap_or_else(|why| panic!("no container from {name}:{tag}: {why}")))
    }

    /// Where the engine opens the port.
    pub(super) async fn host(&self) -> String {
        match self.0.get_host().await {
            Ok(host) if host.to_string() == "localhost" => "127.0.0.1".to_owned(),
            Ok(host) => host.to_string(),
            Err(why) => panic!("the Docker engine does not say where it is: {why}"),
        }
    }

    pub(super) async fn stop(&self) {
        done(self.0.stop_with_timeout(Some(GRACE)).await);
    }

    pub(super) async fn kill(&self) {
        done(self.0.stop_with_timeout(Some(0)).await);
    }

    pub(super) async fn again(&self) {
        done(self.0.start().await);
    }
}

fn done(result: Result<(), TestcontainersError>) {
    if let Err(why) = result {
        panic!("the Docker engine did not obey: {why}");
    }
}
