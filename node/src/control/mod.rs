//! Control: how the holder's own programs on this machine reach the node.
//! May use: device, protocol's commands and status.   Never: an address other than loopback.
