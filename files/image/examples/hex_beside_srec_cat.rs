//! Reads 1 MiB of image from Intel HEX and writes it as a raw binary, beside srec_cat (Debian
//! package srecord) doing the same with the same file, each as a whole process, and prints both
//! times and their ratio.
//!
//! `cargo run --release -p packstaff-image --example hex_beside_srec_cat`

use std::error::Error;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};
use std::{env, fs};

#[path = "../tests/common/writers.rs"]
#[allow(dead_code, unreachable_pub)]
mod writers;

const RUNS: usize = 21;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = env::args().skip(1).collect();
    if let [input, output] = arguments.as_slice() {
        return convert(Path::new(input), Path::new(output));
    }
    let folder = tempfile::tempdir()?;
    let path = |name: &str| folder.path().join(name);
    let image: Vec<u8> = (0..1u32 << 18)
        .flat_map(|index| index.wrapping_mul(2_654_435_761).to_le_bytes())
        .collect();
    let text = writers::hex(&[(0, image.clone())], 16);
    fs::write(path("image.hex"), &text)?;

    let mut ours = Command::new(env::current_exe()?);
    ours.args([path("image.hex"), path("ours.bin")]);
    let mut theirs = Command::new("srec_cat");
    theirs
        .arg(path("image.hex"))
        .arg("-intel")
        .arg("-o")
        .arg(path("theirs.bin"))
        .arg("-binary");

    // In turns, so that both meet the same state of the machine; the median leaves out what
    // disturbs single runs.
    let mut times = [Vec::new(), Vec::new()];
    for _ in 0..RUNS {
        times[0].push(run(&mut ours, "this example")?);
        times[1].push(run(&mut theirs, "srec_cat (Debian package srecord)")?);
    }
    if fs::read(path("ours.bin"))? != image || fs::read(path("theirs.bin"))? != image {
        return Err("the outputs differ from the image".into());
    }
    let [ours, theirs] = times.map(median);
    println!(
        "{} bytes of Intel HEX to {} bytes of image, median of {RUNS} whole processes",
        text.len(),
        image.len()
    );
    println!("image:    {:8.2} ms", ours.as_secs_f64() * 1e3);
    println!("srec_cat: {:8.2} ms", theirs.as_secs_f64() * 1e3);
    println!("ratio:    {:8.1}", theirs.as_secs_f64() / ours.as_secs_f64());
    Ok(())
}

fn convert(input: &Path, output: &Path) -> Result<(), Box<dyn Error>> {
    let build = packstaff_image::read(&fs::read(input)?, &packstaff_image::ReadOptions::default())?;
    let span = build.span();
    let flat = build.flatten(u32::try_from(span.start)?..u32::try_from(span.end)?, 0xFF)?;
    Ok(fs::write(output, flat)?)
}

fn run(command: &mut Command, name: &str) -> Result<Duration, Box<dyn Error>> {
    let start = Instant::now();
    let status = command
        .status()
        .map_err(|error| format!("cannot run {name}: {error}"))?;
    let time = start.elapsed();
    if status.success() {
        Ok(time)
    } else {
        Err(format!("{name}: {status}").into())
    }
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}
