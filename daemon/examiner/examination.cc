#include "examiner/examination.h"

#include <cstring>
#include <new>

#include "base/json.h"
#include "examiner/facts_wire.h"
#include "os/background_priority.h"
#include "os/fork_server.h"

namespace everytake::examiner {
std::vector<Path> files_of(const Examination& examination) {
  std::vector<Path> files;
  for (const auto& part : examination.files.parts) files.push_back(examination.folder / part.path);
  return files;
}

std::string pack(const Examination& examination) {
  Json json{{"wanted", static_cast<int>(examination.wanted)},
            {"memory", examination.limits.memory_bytes},
            {"cpu", examination.limits.cpu_seconds},
            {"folder", examination.folder.string()},
            {"name", examination.files.name},
            {"parts", Json::array()},
            {"cameras", Json::array()},
            {"rate", examination.rate_hz},
            {"known", from_cbor(pack_facts(examination.known))}};
  for (const auto& part : examination.files.parts)
    json["parts"].push_back(Json::array({part.path.string(), static_cast<int>(part.role)}));
  for (const auto& camera : examination.cameras) json["cameras"].push_back(Json::array({camera.model, camera.gamma}));
  return to_cbor(json);
}

std::string pack(const Error& error) {
  return to_cbor(Json::array({static_cast<int>(error.code), error.what, error.number}));
}

std::string pack(const FileStat& stat) {
  return to_cbor(Json::array({static_cast<int>(stat.type), stat.size, stat.mtime.time_since_epoch().count()}));
}

Result<Error> unpack_error(std::string_view bytes) {
  const auto json = from_cbor(bytes);
  constexpr std::size_t kMostWords = 4096;
  const bool fits = json.is_array() && json.size() == 3 && json[0].is_number_integer() && json[1].is_string() &&
                    json[2].is_number_integer() && json[1].get_ref<const std::string&>().size() <= kMostWords;
  const auto code = fits ? json[0].get<std::int64_t>() : -1;
  if (code < 0 || code > static_cast<int>(Code::cancelled))
    return fail(Code::corrupt, "the other process says what can't be understood");
  return Error{static_cast<Code>(code), json[1].get<std::string>(), json[2].get<int>()};
}

Result<FileRange> unpack_range(std::string_view bytes) {
  FileRange range;
  constexpr std::size_t kNumbers = sizeof range.offset + sizeof range.count;
  if (bytes.size() < kNumbers) return fail(Code::corrupt, "the other process asks for nothing that can be read");
  std::memcpy(&range.offset, bytes.data(), sizeof range.offset);
  std::memcpy(&range.count, bytes.data() + sizeof range.offset, sizeof range.count);
  if (range.count > kMostAsked) return fail(Code::corrupt, "the other process asks for too much at once");
  range.path = std::string(bytes.substr(kNumbers));
  return range;
}

std::optional<int> serve_examinations(int argc, char** argv, const std::function<int(Descriptor)>& examine) {
  if (argc != 2 || std::string_view(argv[1]) != kExamine) return std::nullopt;
  enter_background_priority();
  serve_forks([&](Descriptor socket) {
    try {
      return examine(std::move(socket));
    } catch (const std::bad_alloc&) {
      return kOutOfMemory;
    }
  });
  return 0;
}

}  // namespace everytake::examiner
