//! One operation of the API: what is sent, and what is answered.

use schemars::{JsonSchema, Schema, SchemaGenerator};

use crate::door::{Least, Row, TABLE};

/// Makes the schema of a type.
pub(super) type Shape = fn(&mut SchemaGenerator) -> Schema;

fn shape<T: JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    generator.subschema_for::<T>()
}

/// The schema of a query is looked into, so it is not referred to.
fn whole<T: JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    T::json_schema(generator)
}

/// One operation.
pub(super) struct Operation {
    pub(super) method: &'static str,
    /// With the names of its parts, such as `/api/v1/stencils/{code}`.
    pub(super) path: &'static str,
    /// What programs call it.
    pub(super) id: &'static str,
    pub(super) summary: &'static str,
    pub(super) query: Option<Shape>,
    /// What may be sent, by media type; none: nothing is.
    pub(super) bodies: Vec<(&'static str, Option<Shape>)>,
    /// What is answered, by media type.
    pub(super) answers: Vec<(&'static str, Option<Shape>)>,
    /// Statuses of refusals beside those that all of its like have.
    pub(super) also: Vec<u16>,
    pub(super) tagged: bool,
    pub(super) bound: bool,
    pub(super) repeatable: bool,
    pub(super) resumed: bool,
}

pub(super) const JSON: &str = "application/json";

fn of(
    method: &'static str,
    path: &'static str,
    id: &'static str,
    summary: &'static str,
) -> Operation {
    Operation {
        method,
        path,
        id,
        summary,
        query: None,
        bodies: Vec::new(),
        answers: Vec::new(),
        also: Vec::new(),
        tagged: false,
        bound: false,
        repeatable: false,
        resumed: false,
    }
}

pub(super) fn get(path: &'static str, id: &'static str, summary: &'static str) -> Operation {
    of("GET", path, id, summary)
}

pub(super) fn post(path: &'static str, id: &'static str, summary: &'static str) -> Operation {
    let repeatable = crate::repeat::is_repeatable(&path.replace(['{', '}'], ""));
    Operation { repeatable, ..of("POST", path, id, summary) }
}

impl Operation {
    pub(super) fn query<T: JsonSchema>(self) -> Self {
        Self { query: Some(whole::<T>), ..self }
    }

    /// A body of JSON.
    pub(super) fn takes<T: JsonSchema>(self) -> Self {
        self.body(JSON, Some(shape::<T>))
    }

    /// A list, as text.
    pub(super) fn takes_list(self) -> Self {
        self.body("text/csv", None)
            .body("application/jsonl", None)
            .body("application/x-ndjson", None)
    }

    fn body(mut self, kind: &'static str, shape: Option<Shape>) -> Self {
        self.bodies.push((kind, shape));
        self
    }

    /// An answer of JSON.
    pub(super) fn gives<T: JsonSchema>(self) -> Self {
        self.gives_as(JSON, Some(shape::<T>))
    }

    /// An answer of another kind; without a shape it is text.
    pub(super) fn gives_as(mut self, kind: &'static str, shape: Option<Shape>) -> Self {
        self.answers.push((kind, shape));
        self
    }

    pub(super) fn also(mut self, statuses: &[u16]) -> Self {
        self.also.extend(statuses);
        self
    }

    /// Its answer has a tag, and who has it already is told so.
    pub(super) fn tagged(self) -> Self {
        Self { tagged: true, ..self }
    }

    /// It may be bound to the version that somebody saw.
    pub(super) fn bound(self) -> Self {
        Self { bound: true, ..self }
    }

    /// It goes on where somebody was cut off.
    pub(super) fn resumed(self) -> Self {
        Self { resumed: true, ..self }
    }

    /// Its row in the table of who may what.
    pub(super) fn row(&self) -> Option<&'static Row> {
        TABLE.iter().find(|row| row.method == self.method && row.path == self.pattern())
    }

    fn pattern(&self) -> String {
        let part = |part: &str| if part.starts_with('{') { "*" } else { part }.to_owned();
        self.path.split('/').map(part).collect::<Vec<_>>().join("/")
    }

    pub(super) fn least(&self) -> Least {
        self.row().map_or(Least::Role(stencilward_domain::event::Role::Manager), |row| row.least)
    }

    /// Every status of a refusal.
    pub(super) fn refusals(&self) -> Vec<u16> {
        let parts = self.path.contains('{');
        let sent = !self.bodies.is_empty();
        let mut all = vec![401, 403, 429, 503];
        let headers = self.tagged || self.repeatable || self.resumed;
        for (status, when) in [
            (400, self.query.is_some() || sent || headers),
            (404, parts),
            (409, self.method == "POST"),
            (412, self.bound),
            (413, self.method == "POST"),
            (415, self.method == "POST"),
            (422, self.repeatable),
        ] {
            all.extend(when.then_some(status));
        }
        all.extend(&self.also);
        all.sort_unstable();
        all.dedup();
        all
    }
}
