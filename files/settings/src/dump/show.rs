//! Decoded settings as text, TOML and JSON.

use super::read::{Content, Node, Value};
use crate::layout::quoted;
use serde_json::{Map, Value as Json, json};
use std::fmt::{self, Write};

/// The value with its unit, for people.
impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.content {
            Content::Exact(number) => write!(f, "{number}")?,
            Content::Real(number) => write!(f, "{number:?}")?,
            Content::Name(name) => f.write_str(name)?,
            Content::Flags(set, rest) => {
                let words = if set.is_empty() {
                    "none".to_owned()
                } else {
                    set.join(", ")
                };
                f.write_str(&words)?;
                if *rest != 0 {
                    write!(f, " and unnamed bits {rest:#x}")?;
                }
            }
            Content::Text(text) => write!(f, "{text:?}")?,
            Content::Bytes(bytes) => {
                for byte in bytes {
                    write!(f, "{byte:02x}")?;
                }
            }
            Content::Secret => f.write_str("(secret, not shown)")?,
            Content::Missing => f.write_str("(not there)")?,
        }
        match &self.unit {
            Some(unit) if !matches!(self.content, Content::Missing | Content::Secret) => write!(f, " {unit}"),
            _ => Ok(()),
        }
    }
}

impl Value {
    fn toml(&self) -> Option<String> {
        Some(match &self.content {
            Content::Exact(number) => match (number.as_whole(), number.to_string()) {
                (Some(whole), _) if i64::try_from(whole).is_err() => format!("{whole}.0"),
                (_, text) if text.contains('/') => format!("{}", number.as_f64()),
                (_, text) => text,
            },
            Content::Real(number) => match number {
                number if number.is_nan() => "nan".to_owned(),
                number if number.is_infinite() => if *number > 0.0 { "inf" } else { "-inf" }.to_owned(),
                number => format!("{number:?}"),
            },
            Content::Name(name) => quoted(name),
            Content::Flags(set, _) => format!(
                "[{}]",
                set.iter().map(|name| quoted(name)).collect::<Vec<_>>().join(", ")
            ),
            Content::Text(text) => quoted(text),
            Content::Bytes(bytes) => quoted(&hex(bytes)),
            Content::Secret | Content::Missing => return None,
        })
    }

    fn json(&self) -> Json {
        let value = match &self.content {
            Content::Exact(number) => match number.as_whole() {
                Some(whole) => i64::try_from(whole).map_or_else(
                    |_| u64::try_from(whole).map_or_else(|_| json!(number.to_string()), |whole| json!(whole)),
                    |whole| json!(whole),
                ),
                None => json!(number.as_f64()),
            },
            Content::Real(number) if number.is_finite() => json!(number),
            Content::Real(number) => json!(number.to_string()),
            Content::Name(name) => json!(name),
            Content::Flags(set, _) => json!(set),
            Content::Text(text) => json!(text),
            Content::Bytes(bytes) => json!(hex(bytes)),
            Content::Secret | Content::Missing => Json::Null,
        };
        let mut object = Map::new();
        object.insert("value".to_owned(), value);
        if let Some(unit) = &self.unit {
            object.insert("unit".to_owned(), json!(unit));
        }
        if self.content == Content::Secret {
            object.insert("secret".to_owned(), json!(true));
        }
        if let Some(doubt) = &self.doubt {
            object.insert("doubt".to_owned(), json!(doubt.to_string()));
        }
        Json::Object(object)
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

impl Node {
    /// As JSON: every value an object with `value`, and where there is one `unit` and `doubt`.
    pub fn to_json(&self) -> Json {
        match self {
            Self::Value(value) => value.json(),
            Self::Group(fields) => Json::Object(
                fields
                    .iter()
                    .map(|(name, node)| (name.clone(), node.to_json()))
                    .collect(),
            ),
            Self::List(elements) => Json::Array(elements.iter().map(Self::to_json).collect()),
        }
    }

    /// As TOML, which [`super::from_text`] reads again: units, meanings and doubts are comments. What is secret is a comment too.
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        if let Self::Group(fields) = self {
            table(&mut out, fields, "");
        }
        out
    }
}

fn comment(value: &Value) -> String {
    let mut words = Vec::new();
    words.extend(value.unit.clone());
    words.extend(value.means.clone());
    let mut text = words.join(", ");
    if let Some(doubt) = &value.doubt {
        let mark = format!("DOUBTFUL: {doubt}");
        text = if text.is_empty() {
            mark
        } else {
            format!("{text}. {mark}")
        };
    }
    // A comment ends with its line: nothing in it may break one.
    text.chars()
        .map(|character| if character.is_control() { ' ' } else { character })
        .collect()
}

/// Scalars and lists of scalars first: TOML wants tables behind them.
fn table(out: &mut String, fields: &[(String, Node)], path: &str) {
    for (name, node) in fields {
        let (text, note) = match node {
            Node::Value(value) => (value.toml(), comment(value)),
            Node::List(elements) if elements.iter().all(|element| matches!(element, Node::Value(_))) => {
                let values = node.values();
                let texts: Option<Vec<String>> = values.iter().map(|value| value.toml()).collect();
                let doubts: Vec<String> = values
                    .iter()
                    .filter_map(|value| Some(format!("{}: {}", value.path, value.doubt.as_ref()?)))
                    .collect();
                let mut note = values.first().map_or_else(String::new, |first| {
                    let mut words = first.unit.clone().into_iter().collect::<Vec<_>>();
                    words.extend(first.means.clone());
                    words.join(", ")
                });
                if !doubts.is_empty() {
                    note = format!("{note}. DOUBTFUL: {}", doubts.join("; "));
                }
                (texts.map(|texts| format!("[{}]", texts.join(", "))), note)
            }
            _ => continue,
        };
        let note = if note.is_empty() { note } else { format!(" # {note}") };
        let _ = match text {
            Some(text) => writeln!(out, "{name} = {text}{note}"),
            None => writeln!(out, "# {name} is not shown{note}"),
        };
    }
    for (name, node) in fields {
        let own = if path.is_empty() {
            name.clone()
        } else {
            format!("{path}.{name}")
        };
        match node {
            Node::Group(inner) => {
                let _ = writeln!(out, "\n[{own}]");
                table(out, inner, &own);
            }
            Node::List(elements) => {
                for element in elements {
                    if let Node::Group(inner) = element {
                        let _ = writeln!(out, "\n[[{own}]]");
                        table(out, inner, &own);
                    }
                }
            }
            Node::Value(_) => {}
        }
    }
}
