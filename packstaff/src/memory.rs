//! How much memory this machine has for an exploration, and how much this process has used.

use std::fs;

/// Bytes to allow for where nothing is known about this machine's memory.
const BYTES_UNKNOWN: u64 = 2 << 30;

/// The most memory that this process has used, in bytes; `None` where the system does not tell.
pub(crate) fn peak() -> Option<u64> {
    kib(&fs::read_to_string("/proc/self/status").ok()?, "VmHWM:")
}

/// Bytes that an exploration may use: two thirds of the memory that is free now, or that this process may use.
pub(crate) fn allowed() -> u64 {
    let free = fs::read_to_string("/proc/meminfo")
        .ok()
        .and_then(|text| kib(&text, "MemAvailable:"));
    // Linux control groups, version 2: a container's share.
    let share = fs::read_to_string("/sys/fs/cgroup/memory.max").ok();
    let share = share.and_then(|text| text.trim().parse::<u64>().ok());
    let bytes = [free, share].into_iter().flatten().min();
    bytes.map_or(BYTES_UNKNOWN, |bytes| bytes / 3 * 2)
}

/// A line such as `VmHWM:     12345 kB`, in bytes.
fn kib(text: &str, name: &str) -> Option<u64> {
    let line = text.lines().find_map(|line| line.strip_prefix(name))?;
    let number: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    number.checked_mul(1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_read() {
        let text = "Name:\tpackstaff\nVmPeak:\t  20000 kB\nVmHWM:\t   12345 kB\n";
        assert_eq!(kib(text, "VmHWM:"), Some(12345 * 1024));
        assert_eq!(kib(text, "VmRSS:"), None);
        assert_eq!(kib("VmHWM: 12 pages", "VmHWM:"), None);
    }

    #[test]
    fn some_memory_is_allowed_for() {
        assert!(allowed() > 2_000_000);
    }
}
