//! Small pieces of messages: articles, lists, likely meanings, texts cut to a length that a line can bear.

/// Longer texts are not compared with known words, and are shortened in messages.
pub(crate) const LONGEST_WORD: usize = 60;

/// Splits `FACT: MEND`.
pub(crate) fn split_help(error: &str) -> (String, String) {
    match error.rsplit_once(": ") {
        Some((fact, help)) => (fact.to_string(), help.to_string()),
        None => (error.to_string(), String::new()),
    }
}

/// A name with its article; names in backquotes take none.
pub(crate) fn a(name: &str) -> String {
    if name.starts_with('`') {
        name.to_string()
    } else if name.starts_with(['a', 'e', 'i', 'o', 'u']) {
        format!("an {name}")
    } else {
        format!("a {name}")
    }
}

pub(crate) fn this(name: &str) -> String {
    if name.starts_with('`') { name.to_string() } else { format!("this {name}") }
}

pub(crate) fn list<'w>(words: impl IntoIterator<Item = &'w str>) -> String {
    words.into_iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ")
}

/// The known word that was probably meant.
pub(crate) fn nearest<'w>(text: &str, words: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    if text.len() > LONGEST_WORD {
        return None;
    }
    let fold = |text: &str| text.trim().to_lowercase().replace(['-', ' '], "_");
    let text = fold(text);
    let far = text.chars().count();
    words
        .map(|word| (crate::quantity::apart(&text, &fold(word)), word))
        .filter(|(distance, word)| *distance <= 2.min(far.max(word.len()) / 2))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word)
}

/// Cuts what a user wrote to a length that a message can bear.
pub(crate) fn short(text: &str) -> String {
    cut(text, LONGEST_WORD)
}

pub(crate) fn short_message(text: &str) -> String {
    cut(text, 400)
}

fn cut(text: &str, most: usize) -> String {
    match text.char_indices().nth(most) {
        Some((at, _)) => format!("{}...", text.get(..at).unwrap_or_default()),
        None => text.to_string(),
    }
}
