//! Numbers and bytes, written for people.

/// A number of bytes, for people.
pub fn bytes(count: u64) -> String {
    match count {
        0..=9999 => format!("{count} bytes"),
        _ => format!("{:.1} KiB", count as f64 / 1024.0),
    }
}

/// A digest, for people and for comparing.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The same text with a capital letter at its beginning.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// A sentence of what begins small and has no full stop.
pub fn sentence(clause: &str) -> String {
    capital(clause) + "."
}

/// Breaks a text into lines of at most `width` characters, at spaces.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::<String>::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// A text from outside as a terminal may show it: control characters, and those that change the direction of writing, are
/// shown as U+FFFD, and a line's end as a space.
pub fn visible(text: &str) -> String {
    let tricky = |c: char| {
        c.is_control() || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    let shown = |c: char| match c {
        '\n' => ' ',
        _ if tricky(c) => '\u{fffd}',
        _ => c,
    };
    text.chars().map(shown).collect()
}

#[cfg(test)]
mod tests {
    use super::visible;

    #[test]
    fn tricks_on_the_terminal_are_shown_for_what_they_are() {
        assert_eq!(visible("evil\u{202e}cod\u{1b}[31m"), "evil\u{fffd}cod\u{fffd}[31m");
    }
}
