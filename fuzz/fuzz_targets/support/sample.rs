//! Fields of the vectors that the envelope's own tests hold, as bytes.

/// The value behind `name = ` in a file of vectors.
pub fn field(vectors: &str, name: &str) -> Vec<u8> {
    let value = vectors
        .lines()
        .find_map(|line| line.strip_prefix(name)?.strip_prefix(" = "));
    let digits = value.unwrap().trim().as_bytes();
    let digit = |byte: u8| (byte as char).to_digit(16).unwrap() as u8;
    digits
        .chunks(2)
        .map(|pair| digit(pair[0]) << 4 | digit(pair[1]))
        .collect()
}
