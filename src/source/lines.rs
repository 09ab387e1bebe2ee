//! Line ends: git may rewrite those of a whole checkout, which changes nothing that is written.

/// Returns the bytes with every line ended so, whether by a line feed alone or with a return before it.
pub fn with_ends(bytes: &[u8], end: &[u8]) -> Vec<u8> {
    let mut all = Vec::with_capacity(bytes.len() + bytes.len() / 16);
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        match line.strip_suffix(b"\n") {
            Some(line) => {
                all.extend_from_slice(line.strip_suffix(b"\r").unwrap_or(line));
                all.extend_from_slice(end);
            }
            None => all.extend_from_slice(line),
        }
    }
    all
}

/// Returns whether two texts differ in nothing but their line ends.
pub fn same_but_ends(one: &str, other: &str) -> bool {
    one == other || with_ends(one.as_bytes(), b"\n") == with_ends(other.as_bytes(), b"\n")
}

/// Returns a text with the line ends of another, where that one has returns throughout.
pub fn with_ends_of(text: &str, like: &str) -> String {
    let lines = like.matches('\n').count();
    if lines == 0 || like.matches("\r\n").count() != lines {
        return text.to_owned();
    }
    String::from_utf8(with_ends(text.as_bytes(), b"\r\n")).unwrap_or_else(|_| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_are_all_of_a_kind_and_nothing_else_moves() {
        assert_eq!(with_ends(b"a\r\nb\nc\rd\r\r\ne", b"\n"), b"a\nb\nc\rd\r\ne");
        assert_eq!(with_ends(b"a\r\nb\n", b"\r\n"), b"a\r\nb\r\n");
        assert_eq!(with_ends(b"", b"\r\n"), b"");
        assert!(
            same_but_ends("a\r\nb\n", "a\nb\r\n")
                && !same_but_ends("a\nb", "a b")
                && !same_but_ends("a", "a\n")
        );
        assert_eq!(with_ends_of("a\nb\n", "x\r\n"), "a\r\nb\r\n");
        for like in ["x", "x\n", "x\r\ny\n"] {
            assert_eq!(with_ends_of("a\r\nb\n", like), "a\r\nb\n", "{like:?}");
        }
    }
}
