//! Words that are said of many things.

use super::once::{Known, once};
use serde::de::Visitor;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Borrow;
use std::fmt;
use std::ops::Deref;
use std::sync::Arc;

thread_local! {
    static KNOWN: Known<str> = Known::default();
}

/// Words longer than this are of one thing alone, such as a section written out, and not worth remembering.
const LONGEST: usize = 256;

/// Words that are said of many things and held once, as far as a thread remembers: rules, attributes, ids.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Phrase(Arc<str>);

impl Phrase {
    /// Returns the words.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Default for Phrase {
    fn default() -> Self {
        Self::from("")
    }
}

impl From<&str> for Phrase {
    fn from(words: &str) -> Self {
        if words.len() > LONGEST {
            return Self(words.into());
        }
        Self(once(&KNOWN, words))
    }
}

impl From<String> for Phrase {
    fn from(words: String) -> Self {
        Self::from(words.as_str())
    }
}

impl From<&String> for Phrase {
    fn from(words: &String) -> Self {
        Self::from(words.as_str())
    }
}

impl From<Phrase> for String {
    fn from(phrase: Phrase) -> Self {
        phrase.as_str().to_string()
    }
}

impl Deref for Phrase {
    type Target = str;

    fn deref(&self) -> &str {
        &self.0
    }
}

impl Borrow<str> for Phrase {
    fn borrow(&self) -> &str {
        &self.0
    }
}

impl AsRef<str> for Phrase {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

impl PartialEq<str> for Phrase {
    fn eq(&self, other: &str) -> bool {
        *self.0 == *other
    }
}

impl PartialEq<&str> for Phrase {
    fn eq(&self, other: &&str) -> bool {
        *self.0 == **other
    }
}

impl PartialEq<String> for Phrase {
    fn eq(&self, other: &String) -> bool {
        *self.0 == **other
    }
}

impl PartialEq<Phrase> for String {
    fn eq(&self, other: &Phrase) -> bool {
        **self == *other.0
    }
}

impl fmt::Display for Phrase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// As a string's own: digests are made of it.
impl fmt::Debug for Phrase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&*self.0, f)
    }
}

impl Serialize for Phrase {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Phrase {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Words;
        impl Visitor<'_> for Words {
            type Value = Phrase;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("words")
            }
            fn visit_str<E: serde::de::Error>(self, words: &str) -> Result<Phrase, E> {
                Ok(Phrase::from(words))
            }
        }
        deserializer.deserialize_str(Words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_twice_is_held_once() {
        let (one, two) =
            (Phrase::from("conforms and covers"), Phrase::from("conforms and covers".to_string()));
        assert!(Arc::ptr_eq(&one.0, &two.0));
        assert_eq!(format!("{one:?} {one:>4}"), "\"conforms and covers\" conforms and covers");
        let bytes = postcard::to_stdvec(&one).unwrap();
        assert_eq!(bytes, postcard::to_stdvec("conforms and covers").unwrap());
        assert!(Arc::ptr_eq(&one.0, &postcard::from_bytes::<Phrase>(&bytes).unwrap().0));
    }

    #[test]
    fn long_words_are_like_any_others_but_not_remembered() {
        let text = "a section written out ".repeat(20);
        let (one, two) = (Phrase::from(&text), Phrase::from(&text));
        assert!(!Arc::ptr_eq(&one.0, &two.0));
        assert!(one == two && one == text && one > "a".into());
        let all = std::collections::HashSet::from([one]);
        assert!(all.contains(text.as_str()) && all.contains(&two));
    }
}
