//! Writes values as YAML text: one line in flow style, or the lines of a block.

use serde_yaml::Value;

/// Returns the value on one line, in flow style; `None` for tagged values.
pub fn flow(value: &Value) -> Option<String> {
    Some(match value {
        Value::Null => "null".to_string(),
        Value::Bool(truth) => truth.to_string(),
        Value::Number(_) => serde_yaml::to_string(value).ok()?.trim().to_string(),
        Value::String(text) => scalar(text),
        Value::Sequence(all) => {
            let all: Option<Vec<String>> = all.iter().map(flow).collect();
            format!("[{}]", all?.join(", "))
        }
        Value::Mapping(all) => {
            let all: Option<Vec<String>> =
                all.iter().map(|(name, value)| Some(format!("{}: {}", key(name)?, flow(value)?))).collect();
            format!("{{{}}}", all?.join(", "))
        }
        Value::Tagged(_) => return None,
    })
}

/// A key: `on`, which records have as a key, stands plain in them, though older readers take it for a truth value.
fn key(name: &Value) -> Option<String> {
    match name.as_str() {
        Some("on") => Some("on".to_string()),
        _ => flow(name),
    }
}

/// Returns the lines of a map or list by indentation; whatever is in lists stands on one line each.
///
/// `None` for tagged values, empty maps and lists, and single values, which have no block form.
pub fn block_lines(value: &Value) -> Option<Vec<String>> {
    match value {
        Value::Sequence(all) if !all.is_empty() => {
            all.iter().map(|item| Some(format!("- {}", flow(item)?))).collect()
        }
        Value::Mapping(all) if !all.is_empty() => {
            let mut lines = Vec::with_capacity(all.len());
            for (name, value) in all {
                let key = key(name)?;
                let nested = matches!(value, Value::Mapping(inner) if !inner.is_empty())
                    || matches!(value, Value::Sequence(inner) if inner.iter().any(|item| item.is_mapping() || item.is_sequence()));
                if nested {
                    lines.push(format!("{key}:"));
                    lines.extend(block_lines(value)?.into_iter().map(|line| format!("  {line}")));
                } else {
                    lines.push(format!("{key}: {}", flow(value)?));
                }
            }
            Some(lines)
        }
        _ => None,
    }
}

/// Returns a text as a scalar: plain where every reader takes it for this text, else quoted.
pub(crate) fn scalar(text: &str) -> String {
    if is_plain(text) { text.to_string() } else { quoted(text) }
}

fn is_plain(text: &str) -> bool {
    let Some(first) = text.chars().next() else { return false };
    let begins = !"?:,[]{}#&*!|>'\"%@`~=<-.+".contains(first)
        || matches!(first, '-' | '.' | '+') && text.chars().nth(1).is_some_and(char::is_alphanumeric);
    begins
        && text.trim() == text
        && text.len() <= 500
        && !text.chars().any(|c| needs_escape(c) || ",[]{}".contains(c))
        && !text.contains(": ")
        && !text.contains(" #")
        && !text.ends_with(':')
        && !is_word_of_older_yaml(text)
        // In brackets a little more is refused than outside.
        && serde_yaml::from_str::<Vec<Value>>(&format!("[{text}]"))
            .is_ok_and(|all| matches!(all.as_slice(), [Value::String(read)] if read == text))
}

/// Texts that other readers, of YAML 1.1, take for truth values or numbers.
fn is_word_of_older_yaml(text: &str) -> bool {
    let lower = text.to_ascii_lowercase();
    if ["y", "n", "yes", "no", "on", "off", "true", "false", "null"].contains(&lower.as_str()) {
        return true;
    }
    let numeric = text.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c))
        && text.chars().all(|c| c.is_ascii_digit() || "_.:+-eExXo".contains(c));
    numeric && super::Day::parse(text).is_err()
}

fn needs_escape(c: char) -> bool {
    c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}')
}

fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            c if needs_escape(c) => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_what_would_be_misread_is_quoted() {
        for plain in [
            "cw-200-e1",
            "120 degC",
            "200 g/m2 +/- 4 %",
            "60 um (45 .. 80 um)",
            "2026-03-14",
            "2A",
            "a:b",
            "it's",
            "-54 degC",
            "issue #2x",
            "é",
            "nominal",
        ] {
            let expected = if plain.contains(" #") { format!("\"{plain}\"") } else { plain.to_string() };
            assert_eq!(scalar(plain), expected);
        }
        for text in [
            "", " a", "a ", "yes", "NO", "on", "null", "~", "true", "42", "1e3", "0x1F", "1_000", "12:30:00",
            "007", ".inf", "-", "- a", "? a", "a: b", "a #b", "a:", "[a", "a, b", "{", "#a", "&a", "*a",
            "!a", "|", ">", "'a", "\"a", "%a", "@a", "`a", "a\nb", "a\tb", "---", "...", "<<", "\u{feff}",
            "\u{7}", "\u{85}",
        ] {
            let out = scalar(text);
            assert!(out.starts_with('"'), "{text:?} became {out}");
            assert_eq!(serde_yaml::from_str::<Value>(&out).unwrap(), Value::from(text));
        }
    }

    #[test]
    fn blocks_and_lines() {
        let value: Value = serde_yaml::from_str(
            "{form: 1, attributes: {plies: [a 45, b 0], fibre.name.a: x}, none: {}, list: [{a: 1}, [b]]}",
        )
        .unwrap();
        assert_eq!(
            flow(&value).unwrap(),
            "{form: 1, attributes: {plies: [a 45, b 0], fibre.name.a: x}, none: {}, list: [{a: 1}, [b]]}"
        );
        assert_eq!(
            block_lines(&value).unwrap(),
            [
                "form: 1",
                "attributes:",
                "  plies: [a 45, b 0]",
                "  fibre.name.a: x",
                "none: {}",
                "list:",
                "  - {a: 1}",
                "  - [b]"
            ]
        );
        assert_eq!(block_lines(&Value::Null), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_text_comes_back(text in "\\PC{0,20}", more in "[ -~\n\t\u{80}-\u{a0}]{0,10}") {
            for text in [text.clone(), more.clone(), format!("{text}{more}")] {
                let value = Value::Sequence(vec![Value::from(text.as_str()), Value::from("x")]);
                let out = flow(&value).unwrap();
                prop_assert_eq!(serde_yaml::from_str::<Value>(&out).unwrap(), value.clone(), "{}", out);
                let block = format!("a:\n  - {}\n", scalar(&text));
                prop_assert_eq!(&serde_yaml::from_str::<Value>(&block).unwrap()["a"][0], &Value::from(text.as_str()));
            }
        }
    }
}
