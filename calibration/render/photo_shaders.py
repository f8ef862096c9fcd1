"""GLSL sources of the photographed look: light from a panorama, ambient occlusion, skin, cloth, wood."""

# ruff: noqa: E501 - shader lines stay as they are

from __future__ import annotations

from calibration.render.shaders import NOISE

LIGHT = """
uniform vec3 u_eye;
uniform mat3 u_axes;
uniform vec2 u_middle;
uniform float u_focal;
uniform mat3 u_turn;
uniform vec3 u_gain;
uniform vec3 u_harmonics[9];
uniform sampler2D u_room;
uniform float u_room_levels;
uniform sampler2D u_depth;
uniform vec2 u_range;
uniform vec3 u_key_direction;
uniform vec3 u_key_colour;
uniform vec3 u_lamp_place;
uniform vec3 u_lamp_colour;
uniform mat4 u_shadow_matrix;
uniform sampler2D u_shadow;
uniform float u_shadow_soft;
const vec3 BRIGHTNESS = vec3(0.2126, 0.7152, 0.0722);
float dither() { return fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715)))); }
float shadow(vec3 world, vec3 n) {
    vec4 p = u_shadow_matrix * vec4(world + n * 0.004, 1.0);
    vec3 q = p.xyz / p.w * 0.5 + 0.5;
    if (any(lessThan(q.xy, vec2(0.0))) || any(greaterThan(q.xy, vec2(1.0)))) return 1.0;
    float sum = 0.0, start = dither() * 6.2831853;
    for (int i = 0; i < 12; i++) {
        float r = sqrt((float(i) + 0.5) / 12.0), a = start + 2.3999632 * float(i);
        sum += texture(u_shadow, q.xy + r * vec2(cos(a), sin(a)) * u_shadow_soft * 1.5).r < q.z - 0.0012 - 0.4 * r * u_shadow_soft ? 0.0 : 1.0;
    }
    return sum / 12.0;
}
float eye_depth(float depth) { return 2.0 * u_range.x * u_range.y / (u_range.x + u_range.y - (2.0 * depth - 1.0) * (u_range.y - u_range.x)); }
float open_share(vec3 n) {
    float z = 1.0 / gl_FragCoord.w;
    vec3 here = vec3((gl_FragCoord.xy - u_middle) / u_focal * z, z);
    vec3 facing = u_axes * n;
    float reach = 0.11 * u_focal / z, start = dither() * 6.2831853, hidden = 0.0;
    for (int i = 0; i < 12; i++) {
        float r = (float(i) + 0.7) / 12.0, a = start + 2.3999632 * float(i);
        vec2 at = gl_FragCoord.xy + r * r * reach * vec2(cos(a), sin(a));
        float d = eye_depth(texture(u_depth, at / (2.0 * u_middle)).r);
        vec3 away = vec3((at - u_middle) / u_focal * d, d) - here;
        float apart = dot(away, away);
        hidden += max(dot(away, facing) - 0.004, 0.0) / (apart + 0.00015) * max(0.0, 1.0 - apart / 0.02) * sqrt(apart + 0.00015) * (0.6 + 0.8 * r);
    }
    return clamp(1.0 - hidden / 12.0 * 2.2, 0.08, 1.0);
}
vec3 from_all_sides(vec3 world_n) {
    vec3 d = u_turn * world_n;
    vec3 sum = u_harmonics[0] * 0.282095 + 0.488603 * (u_harmonics[1] * d.y + u_harmonics[2] * d.z + u_harmonics[3] * d.x)
        + 1.092548 * (u_harmonics[4] * d.x * d.y + u_harmonics[5] * d.y * d.z + u_harmonics[7] * d.x * d.z)
        + u_harmonics[6] * 0.315392 * (3.0 * d.z * d.z - 1.0) + u_harmonics[8] * 0.546274 * (d.x * d.x - d.y * d.y);
    return max(sum, vec3(0.0)) * u_gain;
}
vec3 room(vec3 world_d, float level) {
    vec3 d = u_turn * world_d;
    vec2 at = vec2(atan(d.x, d.z) / 6.2831853 + 0.5, acos(clamp(d.y, -1.0, 1.0)) / 3.14159265);
    return min(textureLod(u_room, at, level).rgb, vec3(60.0)) * u_gain;
}
vec3 bump(vec3 n, float height) {
    vec3 x = dFdx(v_world), y = dFdy(v_world);
    vec3 a = cross(y, n), b = cross(n, x);
    float size = dot(x, a);
    vec3 slope = sign(size) * (dFdx(height) * a + dFdy(height) * b);
    return normalize(max(abs(size), 1e-14) * n - slope * min(1.0, 0.8 * abs(size) / max(length(slope), 1e-14)));
}
vec3 shade(vec3 world, vec3 n, vec3 albedo, vec3 wrap, float mirror, float rough) {
    vec3 v = normalize(u_eye - world);
    if (dot(n, v) < -0.12) { n = -n; }
    float open = open_share(n), lit = shadow(world, n);
    vec3 even = from_all_sides(n);
    if (wrap.r > 0.1) even = mix(even, u_harmonics[0] * 0.282095 * u_gain, wrap * 0.5);
    vec3 dim = vec3(open) / (vec3(open) + (1.0 - albedo) * (1.0 - open) + vec3(1e-4)) * mix(1.0, open, 0.35);
    vec3 diffuse = even * mix(vec3(open), dim, 0.6);
    float k = dot(n, u_key_direction);
    float contact = mix(1.0, open, 0.45);
    vec3 through = mix(vec3(lit), vec3(pow(lit, 0.55), lit, pow(lit, 1.15)), step(0.1, wrap.r));
    diffuse += u_key_colour * through * contact * max((vec3(k) + wrap) / (1.0 + wrap), vec3(0.0));
    vec3 to_lamp = u_lamp_place - world;
    diffuse += u_lamp_colour / (0.3 + dot(to_lamp, to_lamp)) * contact * max(dot(n, normalize(to_lamp)), 0.0);
    float facing = max(dot(n, v), 0.0);
    float fresnel = mirror + (max(1.0 - rough, mirror) - mirror) * 0.55 * pow(1.0 - facing, 5.0) * (0.4 + 0.6 * open);
    vec3 seen = room(reflect(-v, n), 1.0 + rough * (u_room_levels - 3.0)) * smoothstep(0.05, 0.7, open);
    vec3 h = normalize(v + u_key_direction);
    float narrow = 2.0 / max(rough * rough * rough * rough, 2e-3) - 2.0 + 1e-3;
    vec3 spot = u_key_colour * lit * max(k, 0.0) * min((narrow + 8.0) / 25.0, 8.0) * pow(max(dot(n, h), 0.0), narrow);
    return min(albedo * diffuse + min(fresnel * (seen + spot), vec3(1.2)), vec3(12.0));
}
"""

BODY_VERTEX = """#version 330
uniform mat4 u_view;
uniform vec4 u_bones[312];
uniform float u_swell;
in vec3 in_place;
in vec3 in_normal;
in vec3 in_bone0;
in vec3 in_bone1;
in vec3 in_weight0;
in vec3 in_weight1;
in vec4 in_mark;
in vec4 in_finger;
in vec2 in_uv;
in vec2 in_shell;
out vec3 v_world;
out vec3 v_normal;
out vec3 v_rest;
out vec3 v_rest_normal;
out vec4 v_mark;
out vec4 v_finger;
out vec2 v_uv;
out float v_level;
void main() {
    vec4 rows[3] = vec4[3](vec4(0), vec4(0), vec4(0));
    for (int k = 0; k < 3; k++) {
        int a = int(in_bone0[k] + 0.5) * 3, b = int(in_bone1[k] + 0.5) * 3;
        for (int r = 0; r < 3; r++)
            rows[r] += in_weight0[k] * u_bones[a + r] + in_weight1[k] * u_bones[b + r];
    }
    vec4 p = vec4(in_place + in_normal * in_shell.x * u_swell, 1.0);
    v_world = vec3(dot(rows[0], p), dot(rows[1], p), dot(rows[2], p));
    v_normal = vec3(dot(rows[0].xyz, in_normal), dot(rows[1].xyz, in_normal), dot(rows[2].xyz, in_normal));
    v_rest = in_place;
    v_rest_normal = in_normal;
    v_mark = in_mark;
    v_finger = in_finger;
    v_uv = in_uv;
    v_level = in_shell.y;
    gl_Position = u_view * vec4(v_world, 1.0);
}
"""

BODY_FRAGMENT = (
    """#version 330
in vec3 v_world;
in vec3 v_normal;
in vec3 v_rest;
in vec3 v_rest_normal;
in vec4 v_mark;
in vec4 v_finger;
in vec2 v_uv;
in float v_level;
"""
    + NOISE
    + LIGHT
    + """
uniform int u_kind;
uniform vec3 u_colour_a;
uniform vec3 u_colour_b;
uniform vec4 u_pattern;
uniform float u_rough;
uniform vec4 u_face;
uniform vec3 u_iris;
uniform sampler2D u_skin_picture;
uniform vec3 u_tint;
uniform vec4 u_detail;
uniform vec4 u_nails;
uniform vec4 u_ring;
uniform vec4 u_tattoo;
uniform float u_sheen;
uniform vec4 u_weave;
uniform float u_muted;
uniform vec3 u_arm_axis;
uniform float u_seed;
out vec4 f_colour;
float fine(float frequency) { float px = length(fwidth(v_rest)) * frequency; return 1.0 - smoothstep(0.35, 1.1, px); }
float ridge(float x, float width) { return exp(-x * x / (width * width)); }
void skin() {
    if (v_level > 0.012) discard;
    vec3 n = normalize(v_normal);
    vec3 p = v_rest + vec3(u_seed);
    vec3 albedo = pow(texture(u_skin_picture, v_uv).rgb, vec3(2.2)) * u_tint;
    float side = sign(v_rest.x), arm = v_mark.x;
    albedo *= 1.0 + 0.28 * u_detail.w * (noise(p * 45.0) * 0.6 + noise(p * 140.0) * 0.4 - 0.5);
    float red = v_mark.y * u_detail.w * smoothstep(0.03, 0.2, albedo.r);
    albedo *= vec3(1.0 + 0.06 * red, 1.0 - 0.16 * red, 1.0 - 0.12 * red);
    float height = 0.00016 * (noise(p * 900.0) - 0.5) * fine(900.0) + 0.0004 * (noise(p * 280.0) - 0.5) * fine(280.0);
    float mirror = 0.024 * (0.5 + 0.5 * u_sheen), rough = mix(0.72, 0.46, u_sheen) + 0.12 * (noise(p * 70.0) - 0.5);
    if (arm > 1.0) {
        vec3 axis = vec3(side * u_arm_axis.x, u_arm_axis.yz);
        vec3 around = p - axis * dot(p, axis);
        float back = smoothstep(-0.2, 0.5, v_rest_normal.y - 0.2 * v_rest_normal.z);
        float hairy = u_detail.y * smoothstep(1.0, 1.3, arm) * (1.0 - 0.75 * smoothstep(1.9, 2.25, arm)) * mix(0.35, 1.0, back);
        float strand = noise(around * 1300.0 + axis * dot(p, axis) * 130.0 + noise(p * 60.0) * 3.0);
        albedo *= 1.0 - 0.45 * hairy * smoothstep(0.6, 0.85, strand) * mix(0.2, 1.0, fine(700.0));
        float course = abs(noise(around * 55.0 + axis * dot(p, axis) * 14.0) - 0.5);
        float vein = u_detail.z * back * (1.0 - smoothstep(0.0, 0.05, course)) * (1.0 - smoothstep(2.75, 3.0, arm));
        albedo *= mix(vec3(1.0), vec3(0.86, 0.93, 1.0), vein * 0.6);
        height += 0.0011 * vein;
        if (u_tattoo.x * side > 0.5 && arm > u_tattoo.y && arm < u_tattoo.z) {
            vec3 t = p * 38.0 + u_tattoo.w;
            float line = abs(noise(t) - 0.5), area = noise(t * 0.5 + 9.0);
            float ink = max(1.0 - smoothstep(0.02, 0.05, line), 0.7 * smoothstep(0.6, 0.64, area));
            albedo = mix(albedo, vec3(0.02, 0.03, 0.035) + 0.25 * albedo * vec3(0.5, 0.8, 0.9), ink * 0.8);
        }
    }
    if (v_finger.w > 0.5) {
        float along = v_finger.x, front = -v_finger.y;
        float wave = 0.06 * (noise(p * 130.0) - 0.5);
        float inner = smoothstep(0.1, 0.6, front), outer = smoothstep(0.1, 0.6, -front);
        float lines = 0.0;
        for (int j = 0; j < 3; j++) {
            float off = along - float(j) + wave;
            lines += inner * (j == 0 ? 0.0 : ridge(off, 0.03) + 0.5 * ridge(off - 0.1, 0.025));
            float many = ridge(off, 0.2) * (0.5 + 0.5 * sin(off * 85.0 + 5.0 * noise(p * 220.0)));
            lines += outer * (j == 0 ? 0.3 : 0.8) * many * mix(0.3, 1.0, fine(260.0));
        }
        lines *= u_detail.x;
        albedo *= 1.0 - clamp(0.3 * lines, 0.0, 0.55) * vec3(0.8, 1.0, 1.0);
        height -= 0.0005 * lines;
        float mine = abs(v_finger.w - u_ring.x);
        if (mine < 0.4 && u_ring.y * side > 0.0 && abs(along - u_ring.z) < 0.075) {
            albedo = u_ring.w < 0.5 ? vec3(0.55, 0.42, 0.2) : (u_ring.w < 0.85 ? vec3(0.5) : vec3(0.03));
            mirror = 0.7; rough = 0.25; height = 0.0012 * ridge(along - u_ring.z, 0.05);
        }
    }
    float nail = v_mark.w;
    albedo = mix(albedo, u_nails.rgb, u_nails.a * smoothstep(0.4, 0.7, nail));
    rough = mix(rough, 0.25, 0.7 * smoothstep(0.4, 0.7, nail));
    if (v_mark.z > 0.5) {
        vec2 e = vec2(abs(v_rest.x) - u_face.x, v_rest.y - u_face.y) / u_face.z;
        float r = length(e);
        albedo = r < 0.09 ? vec3(0.01) : (r < 0.21 ? u_iris : vec3(0.62, 0.58, 0.55));
        mirror = 0.04; rough = 0.12; height = 0.0;
    }
    n = bump(n, height);
    f_colour = vec4(shade(v_world, n, albedo, vec3(0.42, 0.2, 0.14), mirror, rough), 1.0);
}
void hair() {
    if (v_level < 0.0) discard;
    vec3 p = v_rest + vec3(u_seed);
    float strand = noise(p * vec3(420.0, 30.0, 420.0)) * 0.5 + noise(p * vec3(160.0, 20.0, 160.0)) * 0.5;
    if (v_level < 0.02 && noise(p * 300.0) > v_level / 0.012) discard;
    vec3 albedo = u_colour_a * (0.35 + 1.3 * strand);
    vec3 n = bump(normalize(v_normal), 0.0008 * strand + 0.003 * noise(p * 35.0));
    f_colour = vec4(shade(v_world, n, albedo, vec3(0.15), 0.03, 0.7), 1.0);
}
void cloth() {
    if (v_level < 0.0) discard;
    vec3 p = v_rest + vec3(u_seed);
    vec3 n = normalize(v_normal);
    bool sleeve = v_mark.x > 0.2;
    float t = sleeve ? v_mark.x * 0.27 : p.y, u = sleeve ? atan(v_rest_normal.z, v_rest_normal.y) * 0.05 : p.x;
    vec3 first = mix(vec3(dot(u_colour_a, BRIGHTNESS)), u_colour_a, u_muted), second = mix(vec3(dot(u_colour_b, BRIGHTNESS)), u_colour_b, u_muted);
    vec3 albedo = first;
    float kind = u_pattern.x;
    if (kind > 0.5 && kind < 1.5) albedo = mix(second, first, smoothstep(-0.02, 0.02, u_pattern.z - fract(t * u_pattern.y)));
    if (kind > 1.5 && kind < 2.5) {
        float a = step(fract(t * u_pattern.y), u_pattern.z), b = step(fract(u * u_pattern.y), u_pattern.z);
        albedo = mix(first, second, 0.5 * (a + b));
        if (u_weave.w > 0.5) albedo = mix(albedo, vec3(0.7), 0.6 * step(fract(t * u_pattern.y + 0.4), 0.06) + 0.6 * step(fract(u * u_pattern.y + 0.4), 0.06));
    }
    if (kind > 2.5) albedo = mix(first, second, smoothstep(0.45, 0.55, noise(p * u_pattern.y) * 0.7 + 0.3 * noise(p * u_pattern.y * 3.0)));
    float f = u_pattern.w;
    float big = noise(p * f * 0.6) + 0.5 * noise(p * f * 1.4 + 4.0) + 0.25 * noise(p * f * 3.1 + 9.0);
    float lines = abs(noise(p * f * vec3(0.5, 0.9, 0.5) + 20.0) - 0.5);
    float folds = 0.012 * big + 0.008 * (1.0 - smoothstep(0.0, 0.16, lines));
    if (sleeve) {
        float bent = ridge(v_mark.x - 1.0, 0.22) + 0.8 * ridge(v_level, 0.1) * u_weave.z + 0.25;
        folds += 0.010 * bent * sin(v_mark.x * 42.0 + 7.0 * noise(p * 22.0) + 2.5 * sin(u * 60.0)) * noise(p * 11.0);
    }
    float low = folds;
    folds *= (0.15 + 0.6 * u_weave.y) * (0.6 + u_rough);
    float threads = fine(u_weave.x);
    float weave = sin(t * u_weave.x * 6.2831853) * sin(u * u_weave.x * 6.2831853);
    float fluff = noise(p * 450.0);
    if (u_kind == 1) {
        albedo *= 1.0 + 0.12 * weave * threads + 0.22 * (fluff - 0.5) * fine(450.0);
        albedo *= clamp(0.75 + 14.0 * low * (0.4 + u_weave.y), 0.6, 1.15);
        if (v_level < 0.016 && sleeve) {
            albedo *= 0.9;
            folds += 0.0012 * smoothstep(0.0, 0.004, v_level) - 0.0006 * ridge(v_level - 0.012, 0.0015);
        }
    }
    n = bump(n, folds + 0.00012 * weave * threads + 0.0006 * fluff * fine(450.0));
    bool metal = u_kind == 3 && u_rough > 0.25;
    if (metal) albedo = mix(albedo, vec3(0.4), 0.7);
    f_colour = vec4(shade(v_world, n, albedo, vec3(0.12), metal ? 0.5 : 0.012, u_kind == 3 ? 0.3 : 0.85), 1.0);
}
void main() {
    if (u_kind == 0) skin();
    else if (u_kind == 2) hair();
    else cloth();
}
"""
)

SOLID_FRAGMENT = (
    """#version 330
in vec3 v_world;
in vec3 v_normal;
in vec3 v_local;
in vec3 v_colour;
in float v_material;
"""
    + NOISE
    + LIGHT
    + """
uniform vec4 u_wood;
uniform float u_muted;
uniform float u_seed;
out vec4 f_colour;
void main() {
    vec3 n = normalize(v_normal), albedo = mix(vec3(dot(v_colour, BRIGHTNESS)), v_colour, 0.4 + 0.6 * u_muted), p = v_local + vec3(u_seed);
    float mirror = 0.03, rough = 0.6, height = 0.0;
    if (v_material > 0.5 && v_material < 1.5) {
        vec3 q = p + 0.004 * vec3(0.0, noise(p * 14.0), noise(p * 12.0 + 5.0));
        float rings = 0.5 + 0.5 * sin(q.y * 900.0 + 6.0 * noise(q * vec3(2.0, 40.0, 40.0)));
        float grain = noise(q * vec3(9.0, 260.0, 260.0)) * 0.5 + noise(q * vec3(25.0, 800.0, 800.0)) * 0.3 + 0.2 * rings;
        float cloud = noise(q * vec3(5.0, 14.0, 14.0));
        albedo *= 1.0 + u_wood.y * (0.55 * (grain - 0.5) + 0.35 * (cloud - 0.5));
        float wear = u_wood.z * smoothstep(0.55, 0.8, noise(p * 23.0) * 0.6 + noise(p * 80.0) * 0.4);
        albedo = mix(albedo, albedo * 0.7 + vec3(0.09, 0.07, 0.05), wear);
        float scratch = u_wood.z * (1.0 - smoothstep(0.0, 0.03, abs(noise(p * vec3(15.0, 60.0, 30.0)) - 0.5)));
        albedo = mix(albedo, albedo * 1.25 + 0.01, 0.3 * scratch);
        mirror = 0.045;
        rough = mix(0.6, 0.1, u_wood.x) + 0.25 * wear;
        height = 0.00006 * grain + 0.00025 * noise(p * 30.0) * u_wood.w;
    } else if (v_material > 1.5 && v_material < 2.5) {
        mirror = 0.5; rough = 0.3; albedo *= 0.6;
    } else if (v_material > 2.5) {
        float strand = noise(v_local * vec3(420.0, 14.0, 420.0)) * 0.5 + noise(v_local * vec3(150.0, 9.0, 150.0)) * 0.5;
        albedo *= 0.35 + 1.3 * strand;
        height = 0.001 * strand; rough = 0.65;
    } else {
        albedo *= 0.9 + 0.2 * noise(p * 60.0);
    }
    n = bump(n, height);
    f_colour = vec4(shade(v_world, n, albedo, vec3(0.05), mirror, rough), 1.0);
}
"""
)

BACK_FRAGMENT = """#version 330
uniform sampler2D u_picture;
uniform sampler2D u_room;
uniform mat3 u_turn;
uniform vec3 u_gain;
uniform mat3 u_rays;
uniform vec3 u_picture_gain;
uniform float u_muted;
uniform float u_level;
uniform bool u_panorama;
in vec2 v_place;
out vec4 f_colour;
void main() {
    vec3 shown;
    if (u_panorama) {
        vec3 d = u_turn * normalize(u_rays * vec3(v_place * 2.0 - 1.0, 1.0));
        vec2 at = vec2(atan(d.x, d.z) / 6.2831853 + 0.5, acos(clamp(d.y, -1.0, 1.0)) / 3.14159265);
        shown = min(textureLod(u_room, at, u_level).rgb, vec3(20.0)) * u_gain;
    } else {
        shown = pow(texture(u_picture, v_place).rgb, vec3(2.2));
        shown = mix(vec3(dot(shown, vec3(0.2126, 0.7152, 0.0722))), shown, u_muted) * u_picture_gain;
    }
    f_colour = vec4(shown, 1.0);
}
"""
