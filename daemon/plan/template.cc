#include "plan/template.h"

#include "base/text.h"

namespace everytake::plan {
namespace {

constexpr std::string_view kBody = R"(performer = "The band"
frame_rate = "24000/1001"           # of the edit: a fraction, or 23.976, 24, 25, 29.97, 30, 50, 59.94, 60
# gamma = "s-log3"                  # what every clip should be shot in; others are pointed out
# read_card = "twice"               # read each card a second time before it may be called safe to wipe

[song]
# file = "song.wav"                 # the master, beside this file
length = "3:30"                     # not needed once there is a file
tempo = 120.0                       # quarter notes a minute; needed only where a section counts bars
meter = "4/4"
first_bar = "0:00.000"              # where bar 1 begins
# playback_speeds = [1.0, 2.0]      # the speeds the song is played at on set

# Who is in the band.
[[member]]
name = "Singer"
part = "voice"

[[member]]
name = "Drummer"
part = "drums"

# The song's parts, in order. In bars, one after the other, or with a start and an end.
[[section]]
name = "Intro"
bars = 8

[[section]]
name = "Verse 1"
bars = 16

[[section]]
name = "Chorus 1"
start = "0:48.000"
end = "1:20.000"
want = { takes = 5 }                # what this section wants other than the rest

[[section]]
name = "Bridge"
start = "2:08"
end = "2:24"
members = ["Singer"]                # who is on set in it; everybody where left out

# Where copies go: at least two folders, on two disks.
[[destination]]
name = "desk"
path = "/media/desk/footage"

[[destination]]
name = "shuttle"
path = "/media/shuttle/footage"
# same_disk = "allow"               # accept a disk already used; then no card is ever called safe to wipe
# accept_cached = true              # accept a read-back that can't be shown to come from the disk
# own_disk = true                   # on a disk of its own, which the system can't tell: a network folder, FUSE

# What a camera can't say of itself.
# [[camera]]
# model = "L-1"
# gamma = "n-log"

# What is wanted of each section, and of each member.
[want]
takes = 3                           # performance takes that cover the section
b_roll = 2                          # clips
slow_mo = 1                         # clips
looks = 2                           # different looks of light and colour
member_seconds = 30                 # of b-roll and slow-mo on screen, each member
)";

// A basic string of TOML 1.0 ("String"): what is no plain text becomes a visible escape of shown().
std::string quoted(std::string_view text) {
  std::string out = "\"";
  for (const char c : shown(text)) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + "\"";
}

}  // namespace

std::string plan_template(std::string_view title) {
  return "# The plan of a shoot. Check it with: everytake plan\n"
         "# Times are minutes:seconds[.fraction], or seconds.\n\n[shoot]\ntitle = " +
         quoted(title.empty() ? "Untitled" : title) + "\n" + std::string(kBody);
}

}  // namespace everytake::plan
