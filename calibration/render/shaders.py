"""GLSL sources of the renderer."""

# ruff: noqa: E501 - shader lines stay as they are

from __future__ import annotations

NOISE = """
float hash(vec3 p) {
    p = fract(p * vec3(0.1031, 0.1030, 0.0973));
    p += dot(p, p.yxz + 33.33);
    return fract((p.x + p.y) * p.z);
}
float noise(vec3 p) {
    vec3 i = floor(p), f = fract(p);
    f = f * f * (3.0 - 2.0 * f);
    return mix(mix(mix(hash(i), hash(i + vec3(1,0,0)), f.x), mix(hash(i + vec3(0,1,0)), hash(i + vec3(1,1,0)), f.x), f.y),
               mix(mix(hash(i + vec3(0,0,1)), hash(i + vec3(1,0,1)), f.x), mix(hash(i + vec3(0,1,1)), hash(i + vec3(1,1,1)), f.x), f.y), f.z);
}
"""

LIGHT = """
uniform vec3 u_eye;
uniform vec3 u_sky;
uniform vec3 u_ground;
uniform vec3 u_key_direction;
uniform vec3 u_key_colour;
uniform vec3 u_fill_direction;
uniform vec3 u_fill_colour;
uniform vec3 u_lamp_place;
uniform vec3 u_lamp_colour;
uniform mat4 u_shadow_matrix;
uniform sampler2D u_shadow;
uniform float u_shadow_soft;
uniform float u_exposure;
float shadow(vec3 world, vec3 n) {
    vec4 p = u_shadow_matrix * vec4(world + n * 0.004, 1.0);
    vec3 q = p.xyz / p.w * 0.5 + 0.5;
    if (any(lessThan(q.xy, vec2(0.0))) || any(greaterThan(q.xy, vec2(1.0)))) return 1.0;
    float sum = 0.0;
    for (int i = -1; i <= 1; i++) for (int j = -1; j <= 1; j++)
        sum += texture(u_shadow, q.xy + vec2(i, j) * u_shadow_soft).r < q.z - 0.0012 ? 0.0 : 1.0;
    return sum / 9.0;
}
vec3 shade(vec3 world, vec3 n, vec3 albedo, float wrap, float gloss, float shine) {
    vec3 v = normalize(u_eye - world);
    if (dot(n, v) < -0.12) { n = -n; }
    vec3 ambient = mix(u_ground, u_sky, 0.5 + 0.5 * n.y);
    float lit = shadow(world, n);
    float k = dot(n, u_key_direction);
    vec3 diffuse = u_key_colour * lit * max((k + wrap) / (1.0 + wrap), 0.0);
    diffuse.r += wrap * 0.25 * u_key_colour.r * lit * smoothstep(-0.3, 0.1, k) * smoothstep(0.5, 0.1, k);
    diffuse += u_fill_colour * max((dot(n, u_fill_direction) + wrap) / (1.0 + wrap), 0.0);
    vec3 to_lamp = u_lamp_place - world;
    float reach = 1.0 / (0.3 + dot(to_lamp, to_lamp));
    diffuse += u_lamp_colour * reach * max(dot(n, normalize(to_lamp)), 0.0);
    vec3 h = normalize(v + u_key_direction);
    vec3 shinyness = u_key_colour * lit * pow(max(dot(n, h), 0.0), shine) * gloss;
    float fresnel = pow(1.0 - max(dot(n, v), 0.0), 4.0);
    shinyness += ambient * fresnel * gloss * 0.7;
    return (albedo * (ambient + diffuse) + shinyness) * u_exposure;
}
vec3 encode(vec3 c) {
    c = c / (1.0 + 0.18 * c);
    return pow(clamp(c, 0.0, 1.0), vec3(1.0 / 2.2));
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
in vec2 in_shell;
out vec3 v_world;
out vec3 v_normal;
out vec3 v_rest;
out vec3 v_rest_normal;
out vec4 v_mark;
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
    v_level = in_shell.y;
    gl_Position = u_view * vec4(v_world, 1.0);
}
"""

BODY_FRAGMENT = (
    """#version 330
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
uniform vec3 u_brow;
uniform vec3 u_iris;
uniform vec4 u_skin;
in vec3 v_world;
in vec3 v_normal;
in vec3 v_rest;
in vec3 v_rest_normal;
in vec4 v_mark;
in float v_level;
out vec4 f_colour;
void main() {
    vec3 n = normalize(v_normal);
    vec3 albedo;
    if (u_kind == 0) {
        if (v_level > 0.012) discard;
        vec3 p = v_rest;
        float blotch = noise(p * 45.0) * 0.6 + noise(p * 140.0) * 0.4 - 0.5;
        albedo = u_colour_a * (1.0 + u_skin.x * blotch);
        float red = v_mark.y * u_skin.y;
        albedo *= vec3(1.0 + 0.12 * red, 1.0 - 0.22 * red, 1.0 - 0.22 * red);
        albedo = mix(albedo, albedo * vec3(1.12, 1.02, 1.0) + 0.06, v_mark.w * u_skin.z);
        float gloss = 0.05 + 0.10 * u_skin.w + 0.25 * v_mark.w * u_skin.z;
        float crease = noise(p * vec3(260.0)) - 0.5;
        n = normalize(n + 0.05 * crease * u_rough * vec3(noise(p * 200.0) - 0.5, noise(p * 210.0 + 7.0) - 0.5, noise(p * 190.0 + 3.0) - 0.5) * 4.0);
        vec2 f = (p.xy - vec2(0.0, u_face.y)) / u_face.z;
        if (p.z > u_face.w && abs(f.x) < 1.6) {
            float mouth = length(vec2(f.x / 0.42, (f.y + 1.12) / 0.14));
            albedo = mix(albedo, albedo * vec3(0.95, 0.55, 0.55), smoothstep(1.1, 0.8, mouth) * 0.8);
            vec2 b = vec2(abs(f.x) - 0.52, f.y - 0.36 + 0.25 * pow(abs(f.x) - 0.5, 2.0) * 2.0);
            float brow = max(abs(b.x) / 0.34, abs(b.y) / 0.06);
            albedo = mix(albedo, u_brow, smoothstep(1.15, 0.75, brow) * 0.8);
        }
        if (v_mark.z > 0.5) {
            vec2 e = vec2(abs(p.x) - u_face.x, p.y - u_face.y) / u_face.z;
            float r = length(e);
            albedo = r < 0.09 ? vec3(0.01) : (r < 0.21 ? u_iris : vec3(0.72, 0.70, 0.68));
            gloss = 0.6;
        }
        f_colour = vec4(encode(shade(v_world, n, albedo, 0.22, gloss, 22.0)), 1.0);
        return;
    }
    if (v_level < 0.0) discard;
    vec3 p = v_rest;
    if (u_kind == 2) {
        float strand = noise(p * vec3(220.0, 25.0, 220.0)) * 0.6 + noise(p * 60.0) * 0.4;
        albedo = u_colour_a * (0.55 + 0.9 * strand);
        n = normalize(n + 0.7 * (vec3(noise(p * 150.0), noise(p * 150.0 + 5.0), noise(p * 150.0 + 9.0)) - 0.5));
        f_colour = vec4(encode(shade(v_world, n, albedo, 0.1, 0.12, 12.0)), 1.0);
        return;
    }
    float fold = noise(p * u_pattern.w) + 0.5 * noise(p * u_pattern.w * 2.3 + 4.0);
    vec3 lean = vec3(noise(p * u_pattern.w + 11.0), noise(p * u_pattern.w + 23.0), noise(p * u_pattern.w + 37.0)) - 0.5;
    n = normalize(n + u_rough * lean);
    albedo = u_colour_a;
    float t = v_mark.x > 0.2 ? v_mark.x * 0.27 : p.y;
    float u = v_mark.x > 0.2 ? atan(v_rest_normal.z, v_rest_normal.y) * 0.05 : p.x;
    if (u_pattern.x > 0.5 && u_pattern.x < 1.5) albedo = fract(t * u_pattern.y) < u_pattern.z ? u_colour_a : u_colour_b;
    if (u_pattern.x > 1.5 && u_pattern.x < 2.5) {
        float a = step(fract(t * u_pattern.y), u_pattern.z), b = step(fract(u * u_pattern.y), u_pattern.z);
        albedo = mix(u_colour_a, u_colour_b, 0.5 * (a + b));
    }
    if (u_pattern.x > 2.5) albedo = mix(u_colour_a, u_colour_b, smoothstep(0.45, 0.55, noise(p * u_pattern.y)));
    albedo *= 0.86 + 0.2 * fold * 0.66;
    albedo *= 0.94 + 0.12 * noise(p * 600.0);
    if (u_kind == 1 && v_level < 0.006) albedo *= 0.82;
    f_colour = vec4(encode(shade(v_world, n, albedo, 0.05, u_kind == 3 ? 0.5 : 0.03, 30.0)), 1.0);
}
"""
)

SOLID_VERTEX = """#version 330
uniform mat4 u_view;
uniform mat4 u_model;
in vec3 in_place;
in vec3 in_normal;
in vec3 in_colour;
in float in_material;
out vec3 v_world;
out vec3 v_normal;
out vec3 v_local;
out vec3 v_colour;
out float v_material;
void main() {
    v_world = (u_model * vec4(in_place, 1.0)).xyz;
    v_normal = mat3(u_model) * in_normal;
    v_local = in_place;
    v_colour = in_colour;
    v_material = in_material;
    gl_Position = u_view * vec4(v_world, 1.0);
}
"""

SOLID_FRAGMENT = (
    """#version 330
"""
    + NOISE
    + LIGHT
    + """
uniform float u_gloss;
in vec3 v_world;
in vec3 v_normal;
in vec3 v_local;
in vec3 v_colour;
in float v_material;
out vec4 f_colour;
void main() {
    vec3 n = normalize(v_normal);
    vec3 albedo = v_colour;
    float gloss = 0.05, shine = 20.0;
    if (v_material > 0.5 && v_material < 1.5) {
        float grain = noise(v_local * vec3(9.0, 260.0, 260.0)) * 0.6 + noise(v_local * vec3(25.0, 700.0, 700.0)) * 0.4;
        albedo *= 0.78 + 0.42 * grain;
        gloss = u_gloss; shine = 45.0;
    } else if (v_material > 1.5 && v_material < 2.5) { gloss = 0.6; shine = 40.0;
    } else if (v_material > 2.5) {
        float strand = noise(v_local * vec3(220.0, 14.0, 220.0));
        albedo *= 0.5 + 0.9 * strand; gloss = 0.1; shine = 12.0;
        n = normalize(n + 0.6 * (vec3(noise(v_local * 120.0), noise(v_local * 120.0 + 5.0), noise(v_local * 120.0 + 9.0)) - 0.5));
    }
    f_colour = vec4(encode(shade(v_world, n, albedo, 0.05, gloss, shine)), 1.0);
}
"""
)

BODY_ID_FRAGMENT = """#version 330
in vec3 v_rest;
in vec4 v_mark;
out float f_part;
void main() {
    float part = v_mark.x < 1.0 ? 5.0 : (v_mark.x < 2.0 ? 1.0 : 2.0) + (v_rest.x < 0.0 ? 2.0 : 0.0);
    f_part = part / 255.0;
}
"""

SOLID_ID_FRAGMENT = """#version 330
uniform float u_part;
out float f_part;
void main() { f_part = u_part / 255.0; }
"""

EMPTY_FRAGMENT = """#version 330
void main() {}
"""

BACK_VERTEX = """#version 330
in vec2 in_place;
out vec2 v_place;
void main() { v_place = in_place * 0.5 + 0.5; gl_Position = vec4(in_place, 0.99999, 1.0); }
"""

BACK_FRAGMENT = """#version 330
uniform sampler2D u_picture;
in vec2 v_place;
out vec4 f_colour;
void main() { f_colour = vec4(texture(u_picture, v_place).rgb, 1.0); }
"""
