// The frame of an MXF file (SMPTE ST 377-1), as far as it shows whether the file is whole, and what its first frame
// carries of the camera's settings.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "os/fs.h"

namespace everytake::media {

// How an MXF file ends beside how its header says it does.
enum class MxfEnd {
  whole,
  missing,  // the header says where its footer lies, and there is none
  open,     // the header was never closed, and no list of partitions stands at the end: it may be cut
};
// nullopt where `file`, of `size` bytes, begins with no header partition.
Result<std::optional<MxfEnd>> mxf_end(ReadFile& file, std::uint64_t size);

// The acquisition metadata of the first frame, for read_acquisition_sets(); empty where it has none. It stands in the
// frame's ancillary packets (ST 436-1, with words of 8 bits), or as elements of their own.
Result<std::string> mxf_acquisition_sets(ReadFile& file, std::uint64_t size);

}  // namespace everytake::media
