//! The OpenAPI document (OpenAPI Specification 3.1.1), made of the operations.

use std::collections::BTreeMap;

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema as _, SchemaGenerator};
use serde_json::{Map, Value, json};

use super::operation::{Operation, Shape};
use super::shapes::{EventNumber, Name};
use crate::door::{Least, Row};
use crate::problem::{KINDS, Problem};

/// Makes the schemas: of what is sent, and of what is answered.
struct Shapes {
    sent: SchemaGenerator,
    told: SchemaGenerator,
}

/// The whole document.
pub(super) fn document(operations: &[Operation]) -> Value {
    let settings = || {
        SchemaSettings::draft2020_12().with(|settings| {
            settings.definitions_path = "/components/schemas".into();
            settings.meta_schema = None;
        })
    };
    let mut shapes = Shapes {
        sent: settings().for_deserialize().into_generator(),
        told: settings().for_serialize().into_generator(),
    };
    let mut paths: BTreeMap<&str, Map<String, Value>> = BTreeMap::new();
    for operation in operations {
        let mut described = described(operation, &mut shapes);
        let links = links(operation, operations);
        if !links.is_empty() {
            described["responses"]["200"]["links"] = Value::Object(links);
        }
        let path = paths.entry(operation.path).or_default();
        path.insert(operation.method.to_lowercase(), described);
    }
    let problem = shapes.told.subschema_for::<Problem>();
    let problem = json!({ "application/problem+json": { "schema": problem } });
    let mut refusals = Map::new();
    for kind in KINDS {
        let answer = json!({ "description": kind.title, "content": problem });
        refusals.entry(kind.status.as_str()).or_insert(answer);
    }
    let mut schemas = shapes.sent.take_definitions(true);
    schemas.extend(shapes.told.take_definitions(true));
    sorted(json!({
        "openapi": "3.1.1",
        "info": {
            "title": "Stencilward",
            "version": env!("CARGO_PKG_VERSION"),
            "summary": "Wear, cleanliness and storage of solder paste stencils",
            "description": "Times are in milliseconds since 1970-01-01T00:00:00Z. Whoever is \
                signed in acts; where nobody has to sign in, `by` says who does.",
            "license": { "name": "Apache-2.0", "identifier": "Apache-2.0" },
        },
        "servers": [{ "url": "/" }],
        "paths": paths,
        "components": {
            "schemas": schemas,
            "responses": refusals,
            "securitySchemes": {
                "token": {
                    "type": "http", "scheme": "bearer",
                    "description": "A program's token, which a manager gave.",
                },
                "session": {
                    "type": "apiKey", "in": "cookie", "name": "__Host-stencilward",
                    "description": "A person's session, from signing in. Without TLS the cookie \
                        is called `stencilward`.",
                },
            },
        },
    }))
}

fn described(operation: &Operation, shapes: &mut Shapes) -> Value {
    let mut told = Map::new();
    told.insert("operationId".to_owned(), operation.id.into());
    told.insert("summary".to_owned(), operation.summary.into());
    told.insert("description".to_owned(), needs(operation).into());
    let parameters = parameters(operation, shapes);
    if !parameters.is_empty() {
        told.insert("parameters".to_owned(), parameters.into());
    }
    if !operation.bodies.is_empty() {
        let content = content(&operation.bodies, &mut shapes.sent);
        told.insert("requestBody".to_owned(), json!({ "required": true, "content": content }));
    }
    let security = match operation.least() {
        Least::Anybody => json!([]),
        Least::Role(_) => json!([{ "token": [] }, { "session": [] }]),
    };
    told.insert("security".to_owned(), security);
    told.insert("responses".to_owned(), answers(operation, shapes));
    Value::Object(told)
}

/// Who may, in words.
fn needs(operation: &Operation) -> String {
    let needs = match operation.least() {
        Least::Anybody => "Anybody may.".to_owned(),
        Least::Role(role) => format!("Needs the role {}.", role.as_str()),
    };
    match operation.row() {
        Some(Row { confirmed: Some(_), .. }) => {
            format!("{needs} Confirmed by a person first (POST /api/v1/me/confirm) where asked.")
        }
        _ => needs,
    }
}

fn parameters(operation: &Operation, shapes: &mut Shapes) -> Vec<Value> {
    let mut all = Vec::new();
    let parts = operation.path.split('/').filter_map(|part| part.strip_prefix('{'));
    for name in parts.filter_map(|part| part.strip_suffix('}')) {
        let schema = match name {
            "event" => EventNumber::json_schema(&mut shapes.sent),
            "id" => schemars::json_schema!({ "type": "string", "minLength": 1 }),
            _ => shapes.sent.subschema_for::<Name>(),
        };
        all.push(json!({ "name": name, "in": "path", "required": true, "schema": schema }));
    }
    if let Some(query) = operation.query {
        all.extend(of_query(&query(&mut shapes.sent).to_value()));
    }
    let mut header = |name: &str, about: &str, schema: Value| {
        all.push(json!({ "name": name, "in": "header", "description": about, "schema": schema }));
    };
    let tags = json!({ "type": "string", "pattern": r#"^(|\*|(W/)?"[!#-+\--~]*")$"# });
    if operation.tagged {
        header("If-None-Match", "Versions that are known: 304 where it is one.", tags.clone());
    }
    if operation.bound {
        let about = "The version that somebody saw: refused with 412 where it is another one.";
        header("If-Match", about, tags);
    }
    if operation.repeatable {
        let about = "A new one for each request: sent again with the same, it is answered as the \
                     first time and not done twice.";
        header("Idempotency-Key", about, json!({ "type": "string", "pattern": r"^[!-~]{1,255}$" }));
    }
    if operation.resumed {
        let about = "The number of the last event that was read: it goes on after that.";
        header("Last-Event-ID", about, json!({ "type": "integer", "minimum": 0 }));
    }
    all
}

/// The members of a query as parameters. None of them must be there.
fn of_query(schema: &Value) -> Vec<Value> {
    let Some(members) = schema["properties"].as_object().cloned() else { return Vec::new() };
    let parameter = |(name, mut schema): (String, Value)| {
        let about = schema.as_object_mut().and_then(|schema| schema.remove("description"));
        let mut told = json!({ "name": name, "in": "query", "schema": schema });
        if let Some(about) = about {
            told["description"] = about;
        }
        told
    };
    members.into_iter().map(parameter).collect()
}

fn content(kinds: &[(&'static str, Option<Shape>)], generator: &mut SchemaGenerator) -> Value {
    let text = || schemars::json_schema!({ "type": "string" });
    let content = kinds.iter().map(|(kind, shape)| {
        let schema = shape.map_or_else(text, |shape| shape(generator));
        ((*kind).to_owned(), json!({ "schema": schema }))
    });
    Value::Object(content.collect())
}

fn answers(operation: &Operation, shapes: &mut Shapes) -> Value {
    let mut good = json!({
        "description": "Done, or what was asked for.",
        "content": content(&operation.answers, &mut shapes.told),
    });
    let mut answers = Map::new();
    let tag = json!({ "ETag": { "description": "The version.", "schema": { "type": "string" } } });
    if operation.tagged {
        good["headers"] = tag.clone();
        let known = "The version that If-None-Match names is the present one.";
        answers.insert("304".to_owned(), json!({ "description": known, "headers": tag }));
    }
    answers.insert("200".to_owned(), good);
    for status in operation.refusals() {
        let status = status.to_string();
        let there = json!({ "$ref": format!("#/components/responses/{status}") });
        answers.insert(status, there);
    }
    Value::Object(answers)
}

/// What a list names, by the path of the list: where in its answer, and as which part of a path.
const NAMED: [(&str, &str, &str); 6] = [
    ("/api/v1/stencils", "/stencils/0/stencil", "code"),
    ("/api/v1/machines", "/machines/0/machine", "name"),
    ("/api/v1/orders", "/orders/0/order", "order"),
    ("/api/v1/alarms", "/alarms/0/id", "id"),
    ("/api/v1/unattributed", "/unattributed/0/event", "event"),
    ("/api/v1/events", "/events/0/position", "event"),
];

/// From a list to what can be done with what it names.
fn links(list: &Operation, operations: &[Operation]) -> Map<String, Value> {
    let named = NAMED.iter().filter(|(path, ..)| list.method == "GET" && list.path == *path);
    let link = |(path, place, part): &(&str, &str, &str)| {
        let (start, place) = (format!("{path}/{{{part}}}"), format!("$response.body#{place}"));
        let there = operations.iter().filter(move |there| there.path.starts_with(&start));
        let part = (*part).to_owned();
        there
            .map(move |there| {
                let parameters = Map::from_iter([(part.clone(), Value::from(place.clone()))]);
                let link = json!({ "operationId": there.id, "parameters": parameters });
                (there.id.to_owned(), link)
            })
            .collect::<Vec<_>>()
    };
    named.flat_map(link).collect()
}

/// With keys in alphabetical order, whatever order the map type of this build keeps.
fn sorted(value: Value) -> Value {
    match value {
        Value::Object(entries) => {
            let sorted: BTreeMap<String, Value> =
                entries.into_iter().map(|(key, value)| (key, sorted(value))).collect();
            sorted.into_iter().collect()
        }
        Value::Array(items) => items.into_iter().map(sorted).collect(),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is sent and what is answered under one name has one shape.
    #[test]
    fn no_name_has_two_shapes() {
        let all = super::super::operations::all();
        let settings = || SchemaSettings::draft2020_12();
        let mut shapes = Shapes {
            sent: settings().for_deserialize().into_generator(),
            told: settings().for_serialize().into_generator(),
        };
        for operation in &all {
            described(operation, &mut shapes);
        }
        let told = shapes.told.take_definitions(true);
        for (name, sent) in shapes.sent.take_definitions(true) {
            assert!(told.get(&name).is_none_or(|told| *told == sent), "{name}");
        }
    }

    #[test]
    fn an_answer_has_the_kind_that_it_is_asked_in() {
        let document = document(&super::super::operations::all());
        let good = &document["paths"]["/api/v1/stencils"]["get"]["responses"]["200"];
        assert!(good["content"]["application/json"]["schema"].is_object(), "{good}");
    }
}
