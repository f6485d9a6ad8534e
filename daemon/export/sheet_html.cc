#include "export/sheet_html.h"

#include <fmt/format.h>

#include "base/text.h"

namespace everytake::exports {
namespace {

constexpr const char* kStyle =
    "body{font:14px/1.4 sans-serif;margin:2em auto;max-width:75em;padding:0 1em;color:#111;background:#fff}"
    "figure{margin:0 0 1.2em;break-inside:avoid}"
    "img{display:block;width:100%;height:auto;max-height:16em;object-fit:contain;object-position:left}"
    ".none{border:1px dashed #666;padding:1em}"
    "figcaption{margin-top:.3em}figcaption b{margin-right:1em}figcaption span{margin-right:1em}"
    "p{margin:.2em 0}"
    "@page{size:A4;margin:12mm}@media print{body{margin:0;max-width:none;padding:0;font-size:9pt}}";

std::string escaped(const std::string& text) {
  std::string safe;
  for (const char c : shown(text)) {
    switch (c) {
      case '&':
        safe += "&amp;";
        break;
      case '<':
        safe += "&lt;";
        break;
      case '>':
        safe += "&gt;";
        break;
      case '"':
        safe += "&quot;";
        break;
      case '\'':
        safe += "&#39;";
        break;
      default:
        safe += c;
    }
  }
  return safe;
}

std::string figure(const SheetClip& clip) {
  const auto name = escaped(clip.name);
  std::string html = "<figure>\n";
  if (clip.jpeg)
    html += fmt::format("<img alt=\"Frames of {}\" src=\"data:image/jpeg;base64,{}\">\n", name, base64(*clip.jpeg));
  else
    html += "<div class=\"none\">no picture</div>\n";
  html += fmt::format("<figcaption><b>{}</b>", name);
  for (const auto* part : {&clip.kind, &clip.length, &clip.members, &clip.places})
    if (!part->empty()) html += fmt::format("<span>{}</span>", escaped(*part));
  for (const auto& problem : clip.problems) html += fmt::format("<p>! {}</p>", escaped(problem));
  return html + "</figcaption>\n</figure>\n";
}

}  // namespace

std::string sheet_html(const std::string& title, const std::vector<SheetClip>& clips) {
  std::string html = fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" "
      "content=\"width=device-width\">\n<title>{0}</title>\n<style>{1}</style>\n</head>\n<body>\n"
      "<h1>{0}</h1>\n<p>{2}</p>\n",
      escaped(title), kStyle, counted(clips.size(), "clip"));
  for (const auto& clip : clips) html += figure(clip);
  return html + "</body>\n</html>\n";
}

}  // namespace everytake::exports
