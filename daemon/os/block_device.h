// A block device as the kernel tells of it: what it is made of, and whether it still answers. Opens no disk.
#pragma once

#include <sys/types.h>

#include <string>
#include <vector>

#include "os/fs.h"

namespace everytake {

struct BlockDevice {
  enum class Kind {
    disk,    // a drive of this machine
    memory,  // made of memory
    layer,   // made of the devices `below`
    image,   // made of the file `image`
    other,   // behind a network, or of a kind whose disks nobody tells
  };
  Kind kind = Kind::other;
  std::string name;          // of the whole disk: "sda" for its partition sda1
  std::vector<dev_t> below;  // of a layer
  Path image;                // where it can be shown to be the file beneath
  std::string dead;          // why it can't answer any more; empty where nothing tells so
};

// A device that is no longer there is `other`, and dead.
BlockDevice look_at_block_device(dev_t device);

}  // namespace everytake
