//! The JSON Schema of a case file's content, made from the types and the limits.

use crate::case::{Case, Quantity};
use crate::limits;
use schemars::JsonSchema;
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

static CASE: LazyLock<Value> = LazyLock::new(build);

/// The JSON Schema (draft 2020-12) of a case file's content. TOML has no null, so neither has this.
///
/// Beyond the types it holds the possible range of every number (`minimum`, `maximum`), its usual range
/// (`x-usual`, outside of which the loader warns), and the units that each quantity takes.
#[must_use]
pub fn case_schema() -> Value {
    CASE.clone()
}

/// The same, shared.
pub(crate) fn shared() -> &'static Value {
    &CASE
}

fn build() -> Value {
    let mut schema = schemars::schema_for!(Case).to_value();
    drop_null(&mut schema);
    if let Some(object) = schema.as_object_mut() {
        object.insert("$id".into(), json!("sootwright.case/1"));
        object.insert("title".into(), json!("Case file"));
    }
    if let Some(p) = schema.pointer_mut("/properties/schema").and_then(Value::as_object_mut) {
        p.insert("const".into(), json!(crate::case::SCHEMA));
    }
    if let Some(Value::Object(defs)) = schema.get_mut("$defs") {
        for (table, def) in defs.iter_mut() {
            let Some(Value::Object(properties)) = def.get_mut("properties") else { continue };
            for (key, property) in properties.iter_mut() {
                if let (Some(l), Some(p)) = (limits::of(table, key), property.as_object_mut()) {
                    p.insert("minimum".into(), json!(l.possible.0));
                    p.insert("maximum".into(), json!(l.possible.1));
                    p.insert("x-usual".into(), json!({ "from": l.usual.0, "to": l.usual.1 }));
                }
            }
        }
        if let Some(Value::Object(reading)) = defs.get_mut("Reading") {
            reading.insert("allOf".into(), units_by_quantity());
        }
    }
    schema
}

/// One rule per quantity: with this quantity, one of these units.
fn units_by_quantity() -> Value {
    let mut quantities =
        accepted_values(&Quantity::json_schema(&mut schemars::SchemaGenerator::default()).to_value());
    quantities.sort();
    quantities
        .into_iter()
        .filter_map(|id| {
            let quantity: Quantity = serde_json::from_value(json!(id)).ok()?;
            Some(json!({
                "if": { "properties": { "quantity": { "const": id } } },
                "then": { "properties": { "unit": { "enum": quantity.units() } } }
            }))
        })
        .collect()
}

/// The texts that an enumeration accepts; empty when the schema is no enumeration.
pub(crate) fn accepted_values(schema: &Value) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(Value::String(s)) = schema.get("const") {
        out.push(s.clone());
    }
    if let Some(Value::Array(list)) = schema.get("enum") {
        out.extend(list.iter().filter_map(|v| v.as_str().map(str::to_owned)));
    }
    if let Some(Value::Array(list)) = schema.get("oneOf") {
        out.extend(list.iter().flat_map(accepted_values));
    }
    out
}

/// Removes every mention of null: an optional key is left out, it is never null.
pub(crate) fn drop_null(value: &mut Value) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(drop_null),
        Value::Object(object) => {
            if let Some(Value::Array(types)) = object.get_mut("type") {
                types.retain(|t| t != "null");
                if let [only] = types.as_slice() {
                    let only = only.clone();
                    object.insert("type".into(), only);
                }
            }
            if let Some(Value::Array(any)) = object.get_mut("anyOf") {
                any.retain(|t| t.get("type").is_none_or(|t| t != "null"));
                if let [Value::Object(only)] = any.as_slice() {
                    let only: Map<String, Value> = only.clone();
                    object.remove("anyOf");
                    for (k, v) in only {
                        object.entry(k).or_insert(v);
                    }
                }
            }
            object.values_mut().for_each(drop_null);
        }
        _ => {}
    }
}
