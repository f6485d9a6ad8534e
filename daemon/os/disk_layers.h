// What lies beneath a folder, layer by layer: filesystem, image, volume, partition, disk.
#pragma once

#include <string>

#include "os/disks.h"

namespace everytake {

struct Layers {
  Disks disks;
  std::string dead;  // why one of them can't answer any more; empty where nothing tells so
};

// Of the filesystem that the open file or folder `fd` is on. `disks.known` only where every layer could be followed:
//  - a block device: a partition to its disk, what is mapped or joined (dm, md, LVM, bcache) to all that it is made
//    of, an image to the disks of the file's own folder; a server's drives (iSCSI, NVMe over a network) are not known;
//  - btrfs: every device of the filesystem; xfs: its devices for the log and for real time, too;
//  - overlay: the layer that is written and all those beneath it;
//  - tmpfs, ramfs and disks in memory: "memory";
//  - NFS and SMB: "server ADDRESS", not known: a server may export the very disk that the other folder is on;
//  - a driver in user space over a block device (fuseblk): the device. Every other FUSE driver may keep its files
//    anywhere: what device it names is in the set, and the set is not known. So is any filesystem not named here.
// Reads /proc and /sys; asks no disk but for the look at an image, a layer or a device by its name.
Layers layers_beneath(int fd);

}  // namespace everytake
