//! Home: the folder of a device of the workload.
//! Owns: nothing.   Gives: `home`.
//! May use: the node's folder and journal, workload.   Never: a running node.

use gantline::device::{Home, begin_job};
use gantline_protocol::ids::DeviceKey;
use gantline_protocol::log::sign::Verified;
use gantline_tests::workload::key_seed;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

/// The folder of a device of the workload with this log in it.
pub fn home(folder: &Path, number: usize, log: &[Verified]) -> Home {
    let folder = folder.join(number.to_string());
    let home = Home::at(&folder);
    let digits = DeviceKey(key_seed(number));
    let made = home.make().is_ok()
        && std::fs::write(home.key_path(), format!("gantline-device-key-1 {digits}\n")).is_ok()
        && std::fs::set_permissions(home.key_path(), PermissionsExt::from_mode(0o600)).is_ok();
    assert!(made, "a folder for device {number}");
    let job = log[0].entry().hash.into();
    begin_job(&home, job, log).unwrap_or_else(|fault| panic!("a log: {fault}"));
    home
}
