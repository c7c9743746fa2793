//! The images that the tests run, where a Docker engine has them.

use std::time::Duration;

use stencilward_tests::missing;
use testcontainers::core::client::docker_client_instance;

/// How long a Docker engine may take to say whether it has an image.
const PATIENCE: Duration = Duration::from_secs(10);

/// The gateway's, built by `deploy/container/Containerfile`.
pub(crate) const GATEWAY: &str = "stencilward-tests/gateway";
/// What stands in for Mosquitto, Prometheus and Alertmanager.
pub(crate) const SERVICES: &str = "stencilward-tests/stack";
/// The tag of both.
pub(crate) const TAG: &str = "local";

/// True when the engine has both; said aloud when not.
pub(crate) async fn present() -> bool {
    for name in [GATEWAY, SERVICES] {
        if let Err(why) = inspected(&format!("{name}:{TAG}")).await {
            missing::skip(&format!("{why}; tests/images/stack.sh builds what is needed"));
            return false;
        }
    }
    true
}

async fn inspected(image: &str) -> Result<(), String> {
    let docker =
        docker_client_instance().await.map_err(|why| format!("no Docker engine: {why}"))?;
    match tokio::time::timeout(PATIENCE, docker.inspect_image(image)).await {
        Ok(Ok(_)) => Ok(()),
        Ok(Err(why)) => Err(format!("the image {image} is not there: {why}")),
        Err(_) => Err("the Docker engine does not answer".to_owned()),
    }
}
