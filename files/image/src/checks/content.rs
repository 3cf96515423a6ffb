//! What the bytes are: something, and something new.

use super::{Check, Question, Target, Verdict};
use crate::build::Build;

pub(super) fn blank(build: &Build, target: &Target) -> Check {
    let mut content = build.segments().iter().flat_map(|segment| segment.data.iter().copied());
    let first = content.next();
    let uniform = first.filter(|&value| content.all(|byte| byte == value));
    let (verdict, found, advice) = match uniform {
        None => (Verdict::Pass, "different byte values".to_owned(), ""),
        Some(value) => {
            let kind = if value == target.erased {
                ", the erased value"
            } else {
                ""
            };
            (
                Verdict::Fail,
                format!("every byte is 0x{value:02X}{kind}"),
                " Check what the conversion step was given.",
            )
        }
    };
    Check {
        question: Question::Blank,
        verdict,
        found,
        expected: "different byte values".to_owned(),
        explanation: format!("A file of one value is what a failed build or an empty read-out leaves behind.{advice}"),
    }
}

pub(super) fn repeat(build: &Build, target: &Target) -> Check {
    let digest = target.image_digest(build).ok();
    let same: Vec<&str> = target
        .earlier
        .iter()
        .filter(|(_, earlier)| Some(*earlier) == digest)
        .map(|(version, _)| version.as_str())
        .collect();
    let (verdict, found, advice) = match (digest, same.as_slice()) {
        (None, _) => (
            Verdict::Warn,
            "not comparable: the build does not lie in its slot".to_owned(),
            " Settle that first.",
        ),
        (Some(_), []) => (
            Verdict::Pass,
            format!("unlike any of {} earlier", target.earlier.len()),
            "",
        ),
        (Some(_), same) => (
            Verdict::Fail,
            format!("byte for byte the image of {}", same.join(", ")),
            " Build again from the new sources; to send an earlier release once more, issue that \
             release again.",
        ),
    };
    Check {
        question: Question::Repeat,
        verdict,
        found,
        expected: "an image unlike every earlier release".to_owned(),
        explanation: format!(
            "The same image under a new version would tell owners that something changed when \
             nothing did.{advice}"
        ),
    }
}
