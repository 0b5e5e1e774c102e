//! Second node: is a second node on one folder refused by name, and the first left alone?
//! Owns: one device.   Gives: the refusal.
//! May use: support::node.   Never: the node's own code.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use gantline_tests::support::node::Device;

#[test]
fn a_second_node_on_the_folder_is_refused_and_named() {
    let folder = tempfile::tempdir().unwrap();
    let device = Device::founder(folder.path().join("alder"));
    let node = device.start();
    let second = device.run(&[
        "node",
        "--listen",
        "127.0.0.1:0",
        "--no-discovery",
        "--no-sound",
    ]);
    assert_eq!(second.code, Some(2), "{second:?}");
    assert!(second.stderr.contains("already running"), "{second:?}");
    assert!(
        second.stderr.contains("alder"),
        "the folder is named: {second:?}"
    );
    let process = node.process.0.id().to_string();
    assert!(
        second.stderr.contains(&process),
        "the process is named: {second:?}"
    );
    assert!(node.lives(), "the first goes on");
    // And when the first has ended the folder is free again.
    drop(node);
    let again = device.start();
    assert!(again.lives());
}
