//! Figures in words.

/// Years, to two or three digits; above ten thousand only that.
pub(super) fn years(years: f64) -> String {
    match years {
        years if years.is_infinite() => "never".to_owned(),
        years if years >= 10_000.0 => "over 10,000 years".to_owned(),
        years if years >= 1000.0 => format!("{} years", packstaff_rehearsal::picture::grouped(years as u64)),
        years if years >= 10.0 => format!("{years:.0} years"),
        years => format!("{years:.1} years"),
    }
}

/// Milliseconds, to a tenth.
pub(super) fn ms(s: f64) -> String {
    format!("{:.1} ms", s * 1e3)
}

/// Seconds, to a tenth.
pub(super) fn seconds(typical_s: f64, longest_s: f64) -> String {
    format!("{typical_s:.1} s, at most {longest_s:.1} s")
}

/// A number that may be very small or very large, to two digits.
pub(super) fn number(number: f64) -> String {
    match number {
        0.0 => "0".to_owned(),
        small if small < 0.01 => scientific(small),
        few if few < 10.0 => format!("{few:.2}"),
        some if some < 1000.0 => format!("{some:.0}"),
        many if many < 1e6 => packstaff_rehearsal::picture::grouped(many as u64),
        large => scientific(large),
    }
}

/// Two digits and a power of ten.
fn scientific(number: f64) -> String {
    let text = format!("{number:.1e}");
    match text.split_once('e') {
        Some((digits, exponent)) => format!("{digits} × 10^{exponent}"),
        None => text,
    }
}

/// Names in a row.
pub(super) fn list(names: &[String]) -> String {
    match names {
        [] => "nothing".to_owned(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_claim_no_more_digits_than_there_are() {
        let seen = [0.0, 0.000_267, 0.27, 3.0, 42.4, 12_345.6, 1.835e57].map(number);
        let expected = ["0", "2.7 × 10^-4", "0.27", "3.00", "42", "12,345", "1.8 × 10^57"];
        assert_eq!(seen, expected);
        let seen = [0.5, 9.94, 68.4, 1234.0, 2e4, f64::INFINITY].map(years);
        let expected = [
            "0.5 years",
            "9.9 years",
            "68 years",
            "1,234 years",
            "over 10,000 years",
            "never",
        ];
        assert_eq!(seen, expected);
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }
}
