//! The judge of ports, as somebody without a port meets it. Real ports are before it in `simulation/port-check/tests/port.rs`, and the
//! emulated one in `cargo xtask check c-example`.

use crate::support::{FAILED, Folder};

#[test]
fn where_the_port_is_must_be_said() {
    let folder = Folder::small();
    let run = folder.run(&["port", "check"]).ended(FAILED);
    run.complains("nothing says where the port is")
        .complains("--device, or a program behind --");
}

#[test]
fn what_is_no_port_is_told() {
    let folder = Folder::small();
    let check = |words: &[&str]| {
        folder
            .run(&[&["port", "check", "--patience", "1"], words].concat())
            .ended(FAILED)
    };
    check(&["--", "a-program-that-nobody-has"]).complains("a-program-that-nobody-has cannot be run");
    check(&["--", "cat"]).complains("the answer to \"hello\" is \"hello\"");
    check(&["--device", "no-such-device"]).complains("no-such-device");
}

#[test]
fn a_board_that_the_product_does_not_have_is_told_before_the_port_is_met() {
    let folder = Folder::demo();
    let words = [
        "port",
        "check",
        "--product",
        ".",
        "--board",
        "X",
        "--",
        "a-program-that-nobody-has",
    ];
    folder.run(&words).ended(FAILED).complains("no board X; it has C, D");
}
