// The one list of what is known of a clip. A new plain fact is its member in ClipFacts, its line here, its column in
// schema/, and whoever finds it out: the catalogue, what examinations say and the JSON follow, whose keys stand in this
// order.
#pragma once

#include "base/fields.h"
#include "model.h"

namespace everytake {

template <class Struct, class T>
struct ClipField : NamedMember<Struct, T> {
  constexpr ClipField(const char* column, T Struct::*its_member) : ClipField(column, its_member, column) {}
  constexpr ClipField(const char* column, T Struct::*its_member, const char* its_key)
      : NamedMember<Struct, T>(column, its_member), key(its_key) {}
  // Its `name` is the column of the catalogue's table `clip`.
  const char* key;  // in the JSON of a clip; nullptr where it has none of its own there
};

// A member of ClipFacts that has a list itself stands in columns and JSON as its own fields.
template <>
inline constexpr auto kFields<SoundLevels> = std::tuple{
    ClipField{"sound_samples", &SoundLevels::samples, nullptr},
    ClipField{"sound_peak_db", &SoundLevels::peak_db},
    ClipField{"sound_clipped", &SoundLevels::clipped, "sound_clipped_fraction"},
};

template <>
inline constexpr auto kFields<FramesSeen> = std::tuple{
    ClipField{"frames_seen", &FramesSeen::frames, nullptr},
    ClipField{"frames_black", &FramesSeen::black, nullptr},
};

template <>
inline constexpr auto kLast<ProblemCode> = ProblemCode::unknown;
template <>
inline constexpr auto kFields<Problem> = std::tuple{
    NamedMember{"code", &Problem::code},
    NamedMember{"path", &Problem::path},
    NamedMember{"destination", &Problem::destination},
    NamedMember{"message", &Problem::message},
};

template <>
inline constexpr auto kFields<ClipFacts> = std::tuple{
    ClipField{"duration_us", &ClipFacts::duration, "duration_s"},
    ClipField{"frames", &ClipFacts::frames},
    ClipField{"frame_rate", &ClipFacts::frame_rate},
    ClipField{"capture_rate", &ClipFacts::capture_rate},
    ClipField{"width", &ClipFacts::width},
    ClipField{"height", &ClipFacts::height},
    ClipField{"rotation", &ClipFacts::rotation},
    ClipField{"codec", &ClipFacts::codec},
    ClipField{"bit_depth", &ClipFacts::bit_depth},
    ClipField{"bit_rate", &ClipFacts::bit_rate},
    ClipField{"gamma", &ClipFacts::gamma},
    ClipField{"gamut", &ClipFacts::gamut},
    ClipField{"timecode", &ClipFacts::timecode},
    ClipField{"drop_frame", &ClipFacts::drop_frame},
    ClipField{"recorded_at", &ClipFacts::recorded_at},
    ClipField{"camera", &ClipFacts::camera},
    ClipField{"lens", &ClipFacts::lens},
    ClipField{"iso", &ClipFacts::iso},
    ClipField{"shutter", &ClipFacts::shutter, "shutter_s"},
    ClipField{"white_balance", &ClipFacts::white_balance, "white_balance_k"},
    ClipField{"audio", &ClipFacts::audio},
    ClipField{"levels", &ClipFacts::levels, nullptr},
    ClipField{"frames_seen", &ClipFacts::frames_seen, nullptr},
    ClipField{"problems", &ClipFacts::problems, nullptr},  // rows of their own in the catalogue
    ClipField{"origin", &ClipFacts::origin, nullptr},
};

}  // namespace everytake
