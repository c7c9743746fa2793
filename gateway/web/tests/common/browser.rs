//! A browser: its address, its cookie, and what it sends.

use std::net::IpAddr;

use axum::body::Body;
use axum::http::{Request, header};
use axum::response::Response;
use http_body_util::BodyExt as _;
use serde_json::{Value, json};

use stencilward_web::Peer;

use super::people::Hall;

/// An address of an office.
pub(crate) const DESK: &str = "192.0.2.7";
/// An address of a shared station.
pub(crate) const STATION: &str = "192.0.2.65";

/// A browser at an address, with the cookie it was given.
pub(crate) struct Browser<'a> {
    pub(crate) hall: &'a Hall,
    pub(crate) from: IpAddr,
    pub(crate) cookie: Option<String>,
}

impl<'a> Browser<'a> {
    pub(crate) fn at(hall: &'a Hall, from: &str) -> Self {
        Self { hall, from: from.parse().expect("an address"), cookie: None }
    }

    pub(crate) async fn send(&mut self, mut request: Request<Body>) -> Response {
        let headers = request.headers_mut();
        headers.insert("host", "localhost".parse().expect("a value"));
        if let Some(cookie) = &self.cookie {
            headers.insert(header::COOKIE, format!("other=1; {cookie}").parse().expect("a value"));
        }
        request.extensions_mut().insert(Peer(self.from));
        let answer = super::answer(&self.hall.surface, request).await;
        if let Some(set) = answer.headers().get(header::SET_COOKIE) {
            let set = set.to_str().expect("text");
            let pair = set.split(';').next().expect("a pair").to_owned();
            self.cookie = (!set.contains("Max-Age=0")).then_some(pair);
        }
        answer
    }

    pub(crate) async fn get(&mut self, path: &str) -> Response {
        self.send(Request::get(path).body(Body::empty()).expect("a request")).await
    }

    pub(crate) async fn post(&mut self, path: &str, body: Value) -> Response {
        let request = Request::post(path).header("content-type", "application/json");
        self.send(request.body(Body::from(body.to_string())).expect("a request")).await
    }

    pub(crate) async fn form(&mut self, path: &str, body: &str) -> Response {
        let request =
            Request::post(path).header("content-type", "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(body.to_owned())).expect("a request")).await
    }

    pub(crate) async fn sign_in(&mut self, name: &str, secret: &str) -> Response {
        self.post("/api/v1/sign-in", json!({ "name": name, "secret": secret })).await
    }

    /// Whether somebody is signed in here.
    pub(crate) async fn status(&mut self) -> u16 {
        self.get("/api/v1/me").await.status().as_u16()
    }
}

pub(crate) async fn text(answer: Response) -> String {
    let body = answer.into_body().collect().await.expect("a body").to_bytes();
    String::from_utf8_lossy(&body).into_owned()
}
