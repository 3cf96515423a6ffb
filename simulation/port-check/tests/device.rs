//! The judge on a serial device: a pseudo-terminal, at whose other end the example port runs, is reset, and runs again.

mod support;

use packstaff_port_check::cases::{Options, Outcome, judge};
use packstaff_port_check::link::{Link, Way};
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Opens a pseudo-terminal, says its name, and runs the port on its other end again and again: a board that is reset. It says a few
/// words each time before it listens, as boards do.
const BOARD: &str = r#"
import os, subprocess, sys, tty
board, device = os.openpty()
tty.setraw(board)
tty.setraw(device)
print(os.ttyname(device), flush=True)
while True:
    os.write(board, b"booting\r\n")
    subprocess.run([sys.argv[1]], stdin=board, stdout=board, stderr=subprocess.DEVNULL)
"#;

#[test]
fn a_port_on_a_serial_device_passes() {
    let (folder, program) = support::port(0, 0x5a);
    let mut board = Command::new("python3")
        .args(["-c", BOARD])
        .arg(program)
        .current_dir(folder.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("cannot run python3: {error}; this test needs the Debian package python3"));
    let mut name = String::new();
    BufReader::new(board.stdout.take().unwrap())
        .read_line(&mut name)
        .unwrap();
    let way = Way::Device {
        path: name.trim().into(),
        baud: 115_200,
        power: None,
    };
    let options = Options {
        image: 700,
        cuts: 4,
        ..Options::default()
    };
    let link = Link::new(way, Duration::from_secs(20));
    let judged = judge(link, &options, &mut |_| {});
    let _ = board.kill();
    let _ = board.wait();
    let judged = judged.unwrap();
    for case in &judged.tried {
        match &case.outcome {
            Outcome::Holds(_) => {}
            Outcome::NotTried(why) if case.id == "torn" => assert!(why.contains("by hand")),
            other => panic!("{}: {other:?}", case.id),
        }
    }
    assert_eq!(judged.counts.cuts, 4);
}

/// `stty` says what is wrong with what is no terminal.
#[test]
fn a_device_that_is_none_is_told() {
    for (path, says) in [("/no/such/device", "/no/such/device"), ("/dev/null", "/dev/null")] {
        let way = Way::Device {
            path: path.into(),
            baud: 115_200,
            power: None,
        };
        let link = Link::new(way, Duration::from_millis(300));
        let finding = judge(link, &Options::default(), &mut |_| {}).unwrap_err().to_string();
        assert!(finding.contains(says), "{finding}");
    }
}
