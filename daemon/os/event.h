// Wakes a thread that sleeps in poll().
#pragma once

#include "os/posix_fs.h"

namespace everytake {

class Event {
 public:
  static Result<Event> open();
  // From any thread, and from a stop callback.
  void ring() const;
  // poll() tells POLLIN on it from ring() until clear().
  int fd() const { return event_.get(); }
  void clear() const;

 private:
  explicit Event(Descriptor event) : event_(std::move(event)) {}
  Descriptor event_;
};

}  // namespace everytake
