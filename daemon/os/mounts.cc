#include "os/mounts.h"

#include <fcntl.h>
#include <sys/stat.h>

#include <algorithm>
#include <boost/filesystem/fstream.hpp>
#include <charconv>
#include <iterator>
#include <tuple>

namespace everytake {
namespace {

constexpr const char* kTable = "/proc/self/mountinfo";

bool is_octal(char c) {
  return c >= '0' && c <= '7';
}

// The kernel writes blanks, tabs, line feeds and backslashes in names as \ooo.
std::string unescape(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool escape = text[i] == '\\' && i + 3 < text.size() && text[i + 1] <= '3' && is_octal(text[i + 1]) &&
                        is_octal(text[i + 2]) && is_octal(text[i + 3]);
    if (!escape) {
      out += text[i];
      continue;
    }
    out += static_cast<char>((text[i + 1] - '0') << 6 | (text[i + 2] - '0') << 3 | (text[i + 3] - '0'));
    i += 3;
  }
  return out;
}

// The next field off the front of `line`; empty when there is none.
std::string_view next_field(std::string_view& line) {
  const auto field = line.substr(0, line.find(' '));
  line.remove_prefix(std::min(line.size(), field.size() + 1));
  return field;
}

// Separated by commas; one in a value is escaped.
std::vector<std::string> split_options(std::string_view field) {
  std::vector<std::string> options;
  while (!field.empty()) {
    const auto option = field.substr(0, field.find(','));
    field.remove_prefix(std::min(field.size(), option.size() + 1));
    if (!option.empty()) options.push_back(unescape(option));
  }
  return options;
}

auto identity(const Mount& mount) {
  return std::tie(mount.id, mount.device, mount.root, mount.point, mount.type, mount.source);
}

std::optional<Mount> mount_with_id(std::uint64_t id) {
  const auto mounts = read_mounts();
  if (!mounts) return std::nullopt;
  const auto it = std::ranges::find(*mounts, id, &Mount::id);
  return it == mounts->end() ? std::nullopt : std::optional(*it);
}

}  // namespace

bool Mount::operator==(const Mount& other) const {
  return identity(*this) == identity(other);
}

std::vector<std::string> values_of(std::span<const std::string> options, std::string_view key) {
  std::vector<std::string> values;
  for (const auto& option : options)
    if (option.size() > key.size() && option.starts_with(key) && option[key.size()] == '=')
      values.push_back(option.substr(key.size() + 1));
  return values;
}

bool has_option(std::span<const std::string> options, std::string_view option) {
  return std::ranges::find(options, option) != options.end();
}

// id, parent, device, root, mount point, options, optional fields, "-", type, source, options of the filesystem.
std::optional<Mount> parse_mount(std::string_view line) {
  Mount mount;
  const auto id = next_field(line);
  const auto [end, error] = std::from_chars(id.data(), id.data() + id.size(), mount.id);
  if (error != std::errc{} || end != id.data() + id.size()) return std::nullopt;
  next_field(line);
  mount.device = next_field(line);
  mount.root = unescape(next_field(line));
  mount.point = unescape(next_field(line));
  auto field = next_field(line);
  if (field != "-") mount.options = split_options(field);
  while (!line.empty() && field != "-") field = next_field(line);
  mount.type = unescape(next_field(line));
  mount.source = unescape(next_field(line));
  mount.super_options = split_options(next_field(line));
  if (mount.device.empty() || mount.root.empty() || mount.point.empty() || mount.type.empty()) return std::nullopt;
  return mount;
}

std::vector<Mount> parse_mounts(std::string_view table) {
  std::vector<Mount> mounts;
  while (!table.empty()) {
    const auto line = table.substr(0, table.find('\n'));
    table.remove_prefix(std::min(table.size(), line.size() + 1));
    if (auto mount = parse_mount(line)) mounts.push_back(std::move(*mount));
  }
  return mounts;
}

const Mount* mount_of(std::span<const Mount> table, const Path& path) {
  const Mount* found = nullptr;
  std::ptrdiff_t longest = -1;
  for (const auto& mount : table) {
    if (std::mismatch(mount.point.begin(), mount.point.end(), path.begin(), path.end()).first != mount.point.end())
      continue;
    const auto length = std::distance(mount.point.begin(), mount.point.end());
    if (length < longest) continue;  // of equals the later one is on top
    longest = length;
    found = &mount;
  }
  return found;
}

Result<std::vector<Mount>> read_mounts() {
  boost::filesystem::ifstream in(kTable);
  const std::string table{std::istreambuf_iterator<char>(in), {}};
  if (table.empty()) return fail(Code::io, "can't read /proc/self/mountinfo: is /proc mounted?");
  return parse_mounts(table);
}

std::optional<Mount> mount_of(int fd) {
  struct statx status {};
  if (::statx(fd, "", AT_EMPTY_PATH | AT_NO_AUTOMOUNT, STATX_MNT_ID, &status) != 0) return std::nullopt;
  if ((status.stx_mask & STATX_MNT_ID) == 0) return std::nullopt;
  auto mount = mount_with_id(status.stx_mnt_id);
  // Older kernels can miss a line while others mount and unmount.
  return mount ? mount : mount_with_id(status.stx_mnt_id);
}

}  // namespace everytake
